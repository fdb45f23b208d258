"""Write the signals and resistances of a drafted pin as suggestions for review."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from ...schema.text import visible
from ...schema.waveforms import WAVEFORM_KINDS
from .pin_table import TablePin

OFF: Final = "off"
"""The state of the set that resistances are measured in."""
_STATED: Final = ("vpp", "frequency")
_WORDS: Final = ("ac", "waveform")
_LEADS: Final = ("red_on_pin", "black_on_pin")
# States in which a signal is seen best, the best first.
_WITH_SIGNAL: Final = ("colour bars", "with signal")
_WITHOUT_SIGNAL: Final = (OFF, "standby", "no signal")
_LONGEST_TEXT: Final = 60


@dataclass(frozen=True)
class DraftedSignal:
    """The signal of a pin: its state of the set, fields of its waveform, words for review."""

    state: str
    fields: Mapping[str, str | None]
    """Fields of the waveform, ``kind`` first, None for a blank; empty if it cannot be written."""
    remark: str
    """Everything stated that is not among the fields."""

    @property
    def blanks(self) -> tuple[str, ...]:
        """The fields that are still missing."""
        return tuple(name for name, value in self.fields.items() if value is None)


def draft_signal(
    pin: TablePin, kind: str | None, levels: Mapping[str, str]
) -> DraftedSignal | None:
    """Return the signal that the row of a pin states, or None if it states none.

    It becomes a waveform of ``kind``, which the words suggest, if this kind has a field for the
    stated size or frequency. ``levels`` are the fields that parameters state.
    """
    stated: dict[str, str] = {
        key: str(pin.quantities[key]) for key in _STATED if key in pin.quantities
    }
    words = {
        key: visible(pin.texts[key])[:_LONGEST_TEXT]
        for key in ("ac", "waveform")
        if key in pin.texts
    }
    if not stated and not words:
        return None
    model_fields = WAVEFORM_KINDS[kind].model_fields if kind else {}
    used: dict[str, str] = {key: value for key, value in stated.items() if key in model_fields}
    remarks = [value for key, value in stated.items() if key not in used]
    remarks += [f"AC {words['ac']}"] if "ac" in words else []
    remarks += [f"waveform {words['waveform']}"] if "waveform" in words else []
    fields: dict[str, str | None] = {}
    if kind and used:
        needed = [name for name, field in model_fields.items() if field.is_required()]
        known: dict[str, str] = {**levels, **used, "kind": kind}
        fields = {name: known.get(name) for name in dict.fromkeys(["kind", *needed, *used])}
    return DraftedSignal(_choose_state(pin), fields, ", ".join(remarks))


def draft_resistance(pin: TablePin) -> dict[str, Any]:
    """Return the resistances of a pin to ground, as an expectation has them; empty without any."""
    return {lead: str(pin.quantities[lead]) for lead in _LEADS if lead in pin.quantities}


def _choose_state(pin: TablePin) -> str:
    """Return the state of the set that the signal of a pin belongs to, of those with its DC."""
    states = [state for state in pin.dc if state not in _WITHOUT_SIGNAL]
    return next((state for state in _WITH_SIGNAL if state in states), states[0] if states else "")
