"""Asking on a terminal for what a note of some kind needs and may say."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, get_args

import click

from ...schema import Chip
from ...schema.note import NEEDS, NOTE_KINDS, Confidence
from ...schema.text import visible
from ..notes.note_form import READING_FIELDS, Form, normalise_field

_FIGURES: Final = {
    "dc": "DC voltage",
    "vpp": "Signal, peak to peak",
    "freq": "Frequency",
    "ohms": "Resistance to ground, set off",
    "seen": "Seen without a figure (unstable, distorted, missing, clipped, hum)",
}
_SEEN_WHERE: Final = {
    "chassis": "Type of the chassis, not its serial number",
    "sets": "Seen in how many sets",
    "confidence": f"Seen how often ({', '.join(get_args(Confidence))})",
}
_CONDITION: Final = {"condition": "State of the set"}
_TEXT: Final = {"text": "Text, in Markdown"}
# What is asked for each kind of note, in this order.
_ASKED: Final[dict[str, dict[str, str]]] = {
    "known-good reading": _CONDITION | _FIGURES | _SEEN_WHERE,
    "fault and remedy": {
        "symptom": "Symptom, in the trade's words",
        **_CONDITION,
        **{name: f"Before the repair: {label}" for name, label in _FIGURES.items()},
        "part": "Part that had failed, such as C712",
        "failure": "How it had failed",
        "cure": "What cured it",
        "after": "Readings afterwards, such as 'dc=3.1V vpp=1Vpp'",
        **_SEEN_WHERE,
    },
    "caution": _TEXT | {"chassis": _SEEN_WHERE["chassis"]},
    "correction": _CONDITION | _FIGURES | _SEEN_WHERE | _TEXT,
    "remark": _TEXT | {"chassis": _SEEN_WHERE["chassis"]},
}
_CLEAR: Final = "-"

Check = Callable[[str], str]


def ask_kind() -> str:
    """What sort of note it is."""
    return _ask(f"Kind of note ({', '.join(NOTE_KINDS)})", "", True, _checking("kind", None))


def ask_chip() -> str:
    """The chip it hangs on, or what is printed on it."""
    return _ask("Chip", "", True, str)


def ask_place(chip: Chip | None) -> str:
    """Where on the chip it hangs."""
    label = "Pin, node, block or part"
    return _ask(label, "", True, lambda text: normalise_field("at", text, chip))


def is_whole(form: Form) -> bool:
    """Whether a form says all that a note of its kind needs, so that nothing is to be asked."""
    said = {name for name, text in form.items() if text} | (
        {"readings"} if any(form.get(name) for name in READING_FIELDS) else set()
    )
    return "kind" in said and said.issuperset(NEEDS[form["kind"]])


def ask_rest(form: Form, chip: Chip | None, again: bool = False) -> Form:
    """Ask for what a note of this kind may say and the form does not.

    ``again`` asks for all of it, offering what the form says; ``-`` takes that back.
    """
    needed = NEEDS[form["kind"]]
    filled = dict(form)
    for name, label in _ASKED[form["kind"]].items():
        if name in form and not again:
            continue
        if name == "condition" and chip is not None:
            label += f" ({', '.join(condition.name for condition in chip.conditions)})"
        last_figure = name == "seen" and not any(filled.get(figure) for figure in READING_FIELDS)
        must = name in needed or ("readings" in needed and last_figure)
        filled[name] = _ask(label, form.get(name, ""), must, _checking(name, chip))
    return filled


def _checking(name: str, chip: Chip | None) -> Check:
    return lambda text: normalise_field(name, text, chip)


def _ask(label: str, said: str, must: bool, check: Check) -> str:
    """One line typed; asked again until it can be used, and until it is there if it must be."""

    def typed(text: str) -> str:
        text = "" if text.strip() == _CLEAR else text.strip()
        if must and not text:
            raise click.UsageError("expected something here")
        try:
            return text if text == said else check(text)
        except (LookupError, ValueError) as refused:
            raise click.UsageError(visible(str(refused))) from None

    return str(
        click.prompt(
            label if must else f"{label} [may be left out]",
            default=None if must and not said else said,
            show_default=bool(said),
            value_proc=typed,
            err=True,
        )
    )
