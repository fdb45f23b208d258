"""If C418 were leaky, how would the chip read? Every failure of one thing, as a table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from ....schema import Chip
from ....schema.errors import Unknown
from ..weighing.known_board import KnownBoard
from .predicted_readings import Change, list_changes
from .suspects import name_suspect
from .wording import describe_suspect

_MOST: Final = 12


class UnknownSuspect(Unknown):
    """No such part, pin, supply or stage can fail here; the message names the nearest."""


@dataclass(frozen=True)
class WhatIf:
    """One way to fail, and the figures it moves, the farthest first."""

    what: str
    failure: str
    said: str
    """``C418 leaky``."""
    changes: tuple[Change, ...]
    symptoms: tuple[str, ...]
    """Symptoms of the set with this failure."""

    def document(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "what": self.what,
            "failure": self.failure,
            "said": self.said,
            "would_read": [change.document() for change in self.changes],
            "symptoms": list(self.symptoms),
        }


def predict_failures(board: KnownBoard, name: str) -> tuple[WhatIf, ...]:
    """Return every way in which a thing can fail, and the figures each moves.

    ``name``: a part (``C418``), the joint of a pin (``pin 9``), a supply or a stage.
    Raises UnknownSuspect.
    """
    from ..weighing.symptom_list import list_shown_symptoms

    wanted_name = _resolve_name(board.chip, name).casefold()
    failures = tuple(
        WhatIf(
            name_suspect(hypothesis),
            hypothesis.failure,
            describe_suspect(board.chip, hypothesis),
            tuple(list_changes(board, row)[:_MOST]),
            list_shown_symptoms(board, row),
        )
        for row, hypothesis in enumerate(board.cloud.hypotheses)
        if hypothesis.kind != "none" and name_suspect(hypothesis).casefold() == wanted_name
    )
    if not failures:
        raise UnknownSuspect(_refuse_name(name, board))
    return failures


def make_failures_document(chip: Chip, condition: str, found: tuple[WhatIf, ...]) -> dict[str, Any]:
    """Return the table as the command prints it with ``--json``, and the page serves it."""
    return {
        "part": chip.part,
        "condition": condition,
        "what_if": [one.document() for one in found],
    }


def _resolve_name(chip: Chip, name: str) -> str:
    """Return the thing of a name: ``pin 9`` for ``9`` and for the pin's symbol."""
    plain = name.strip()
    names = {part.ref.casefold() for part in chip.application.parts}
    names |= {block.id for block in chip.blocks} | {s.name.casefold() for s in chip.supplies}
    pin = chip.pin(plain.removeprefix("pin "))
    if pin is None or plain.casefold() in names:
        return plain
    return f"pin {pin.number}"


def _refuse_name(name: str, board: KnownBoard) -> str:
    from rapidfuzz import process

    near = ", ".join(
        word for word, _, _ in process.extract(name.upper(), _list_known(board), limit=3)
    )
    return f"nothing is known of how {name!r} fails; nearest: {near or 'none'}"


def _list_known(board: KnownBoard) -> list[str]:
    def names() -> Iterator[str]:
        yield from (name_suspect(h) for h in board.cloud.hypotheses if h.kind != "none")

    return list(dict.fromkeys(names()))
