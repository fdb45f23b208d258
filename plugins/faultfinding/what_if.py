"""If C418 were leaky, what would the chip read? The fault dictionary of one part, as a table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from ...schema import Chip
from ...schema.errors import Unknown
from .failures import FaultDictionary
from .would_read import Change, changes

_MOST: Final = 12


class UnknownSuspect(Unknown):
    """No such part or pin has failures that were worked out; the message names the nearest."""


@dataclass(frozen=True)
class WhatIf:
    """One way to fail, and what it moves, the farthest first."""

    what: str
    failure: str
    changes: tuple[Change, ...]

    @property
    def said(self) -> str:
        """``C418 leaky, 100 kΩ``."""
        return f"{self.what} {self.failure}"

    def document(self) -> dict[str, Any]:
        """As plain data."""
        return {
            "what": self.what,
            "failure": self.failure,
            "would_read": [change.document() for change in self.changes],
        }


def what_if(chip: Chip, dictionary: FaultDictionary, name: str) -> tuple[WhatIf, ...]:
    """Every way that the part (``C418``), or the joint of the pin (``pin 9``), can fail.

    Raises UnknownSuspect.
    """
    wanted = _name(chip, name)
    found = tuple(
        WhatIf(failure.ref, failure.mode, tuple(changes(dictionary, effects)[:_MOST]))
        for failure, effects in dictionary.failed.items()
        if failure.ref.casefold() == wanted.casefold()
    )
    if not found:
        raise UnknownSuspect(_none(name, dictionary))
    return found


def what_if_document(chip: Chip, condition: str, found: tuple[WhatIf, ...]) -> dict[str, Any]:
    """The table as the command prints it with ``--json``, and the page serves it."""
    return {
        "part": chip.part,
        "condition": condition,
        "what_if": [one.document() for one in found],
    }


def _name(chip: Chip, name: str) -> str:
    """``9`` and a pin's symbol are the pin."""
    pin = chip.pin(name.strip().removeprefix("pin "))
    refs = {part.ref.casefold() for part in chip.application.parts}
    if pin is None or name.strip().casefold() in refs:
        return name.strip()
    return f"pin {pin.number}"


def _none(name: str, dictionary: FaultDictionary) -> str:
    from rapidfuzz import process

    known = list(_known(dictionary))
    near = ", ".join(word for word, _, _ in process.extract(name.upper(), known, limit=3))
    return f"nothing was worked out for {name!r}; nearest: {near or 'none'}"


def _known(dictionary: FaultDictionary) -> Iterator[str]:
    yield from dict.fromkeys(failure.ref for failure in dictionary.failed)
