"""Prompt for the fields of a note, according to its kind."""

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
# The prompts for each kind of note, in this order.
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
    """Return the kind of note, prompted for."""
    return _ask(f"Kind of note ({', '.join(NOTE_KINDS)})", "", True, _make_check("kind", None))


def ask_chip() -> str:
    """Return the chip of a note, or its marking, prompted for."""
    return _ask("Chip", "", True, str)


def ask_place(chip: Chip | None) -> str:
    """Return the place of a note on its chip, prompted for."""
    label = "Pin, node, block or part"
    return _ask(label, "", True, lambda text: normalise_field("at", text, chip))


def ask_rest(form: Form, chip: Chip | None, again: bool = False) -> Form:
    """Return the form after prompting for the fields of its kind that it lacks.

    ``again`` prompts for every field, with its value as the default; ``-`` clears it.
    """
    needed_fields = NEEDS[form["kind"]]
    filled = dict(form)
    for name, label in _ASKED[form["kind"]].items():
        if name in form and not again:
            continue
        if name == "condition" and chip is not None:
            label += f" ({', '.join(condition.name for condition in chip.conditions)})"
        # Of the readings one is needed, so the last of them is, if all others were left out.
        has_reading = any(filled.get(field) for field in READING_FIELDS)
        is_last_chance = name == "seen" and not has_reading
        is_needed = name in needed_fields or ("readings" in needed_fields and is_last_chance)
        filled[name] = _ask(label, form.get(name, ""), is_needed, _make_check(name, chip))
    return filled


def _make_check(name: str, chip: Chip | None) -> Check:
    return lambda text: normalise_field(name, text, chip)


def _ask(label: str, default: str, needed: bool, check: Check) -> str:
    """Return one typed line; the prompt repeats until the line is valid, and present if needed."""

    def check_line(text: str) -> str:
        text = "" if text.strip() == _CLEAR else text.strip()
        if needed and not text:
            raise click.UsageError("this field is needed; type a value")
        try:
            # The default may be an older spelling, and stays as it is when it is confirmed.
            return text if text == default else check(text)
        except (LookupError, ValueError) as refused:
            raise click.UsageError(visible(str(refused))) from None

    return str(
        click.prompt(
            label if needed else f"{label} [may be left out]",
            default=None if needed and not default else default,
            show_default=bool(default),
            value_proc=check_line,
            err=True,
        )
    )
