"""Turn a column's numbers into volts: units, divisions, or the counts of a converter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ...schema.quantities import print_value
from .capture import Samples
from .capture_header import Column
from .capture_settings import Settings
from .capture_units import DIVISIONS, STEPS, VOLTS
from .reading_place import ReadingPlace

_MOST_DIVISIONS: Final = 16.0  # a record is at most twice as high as its screen of eight
_SIGNED_BELOW: Final = 0.0
_EXAMINED: Final = 1000
_MOST_V: Final = 1e6

_COUNTS_REMEDY: Final = "volts, or 'volts per count' and 'zero count' above them"


@dataclass(frozen=True)
class Scale:
    """Volts of a sample ``n``: ``per_number * (n - zero) + added_v``."""

    per_number: float = 1.0
    zero: float = 0.0
    added_v: float = 0.0
    remarks: tuple[str, ...] = ()

    def convert(self, values: Samples) -> Samples:
        """Return volts, an array of the shape of ``values``."""
        volts: Samples = np.ascontiguousarray(values) * self.per_number
        shift_v = self.added_v - self.zero * self.per_number
        return volts + shift_v if shift_v else volts


def find_scale(
    name: str,
    column: Column,
    values: Samples,
    settings: Settings,
    channel: tuple[int, int],
    place: ReadingPlace,
) -> Scale:
    """Return the scale of a channel; ``channel`` is its index and the number of channels.

    Raises CaptureError where its numbers are not volts and nothing says how many volts they are.
    """
    if column.unknown_unit:
        raise place.error_at(0, f"the unit '{column.unknown_unit}' of {name}", "V, mV or µV")
    if column.unit == DIVISIONS:
        return _scale_divisions(name, settings, channel, place)
    if column.unit == STEPS or settings.holds_counts or settings.figures.get("volts_per_count"):
        return _scale_counts(name, values, settings, channel, place)
    _refuse_silent_counts(name, values, settings, channel, place)
    if column.unit in VOLTS:
        return Scale(VOLTS[column.unit])
    return Scale(remarks=(f"No unit is stated for {name}: taken as volts",))


def _pick(values: tuple[float, ...], channel: tuple[int, int]) -> float | None:
    """Return a setting for one of the channels: its own, or the only one of an only channel."""
    index, count = channel
    if len(values) == count:
        return values[index]
    return values[0] if len(set(values)) == 1 and count == 1 else None


def _scale_divisions(
    name: str, settings: Settings, channel: tuple[int, int], place: ReadingPlace
) -> Scale:
    per_div_v = _pick(settings.find_figures("volts_per_div"), channel)
    if per_div_v is None:
        raise place.error_at(0, f"{name} in divisions", "volts, or 'volts per div' above them")
    _refuse_offset(name, settings, channel, place)
    return Scale(per_div_v)


def _scale_counts(
    name: str,
    values: Samples,
    settings: Settings,
    channel: tuple[int, int],
    place: ReadingPlace,
) -> Scale:
    per_count_v = _pick(settings.find_figures("volts_per_count"), channel)
    zero = _pick(settings.find_figures("zero_count"), channel)
    if per_count_v is None:
        per_div_v = _pick(settings.find_figures("volts_per_div"), channel)
        per_div = _pick(settings.find_figures("counts_per_div"), channel)
        if per_div_v is None or not per_div:
            raise place.error_at(0, f"{name} in counts", _COUNTS_REMEDY)
        _refuse_offset(name, settings, channel, place)
        per_count_v = per_div_v / per_div
    remarks: tuple[str, ...] = ()
    if zero is None:
        if float(values.min()) >= _SIGNED_BELOW:
            raise place.error_at(0, f"{name} in counts from 0 up", "'zero count' above them")
        remarks = (f"No zero count is stated for {name}: 0 is taken as 0 V",)
    added_v = _pick(settings.find_figures("zero_v"), channel) or 0.0
    return Scale(per_count_v, zero or 0.0, added_v, remarks)


def _refuse_offset(
    name: str, settings: Settings, channel: tuple[int, int], place: ReadingPlace
) -> None:
    """Refuse an offset: instruments differ in whether it is added or taken away."""
    offset_v = _pick(settings.find_figures("vertical_offset"), channel)
    if offset_v:
        found_text = f"a vertical offset of {print_value(offset_v, 'V')} with {name} not in volts"
        raise place.error_at(0, found_text, "volts; offsets are added or taken away")


def _refuse_silent_counts(
    name: str,
    values: Samples,
    settings: Settings,
    channel: tuple[int, int],
    place: ReadingPlace,
) -> None:
    """Refuse whole numbers that would be many screens high as volts: they are counts."""
    per_div_v = _pick(settings.find_figures("volts_per_div"), channel)
    if per_div_v is None or not (values[:_EXAMINED] == np.round(values[:_EXAMINED])).all():
        return
    height_v = float(values.max() - values.min())
    if height_v > _MOST_DIVISIONS * per_div_v:
        found_text = f"{name}: whole numbers, {height_v / per_div_v:.0f} divisions high as volts"
        raise place.error_at(0, f"{found_text}: counts", _COUNTS_REMEDY)


def check_volts(volts: Samples, place: ReadingPlace) -> None:
    """Refuse voltages that no probe bears and that would overflow sums."""
    row = int(np.argmax(np.abs(volts)))
    if abs(volts[row]) > _MOST_V:
        raise place.error_at(row, f"{volts[row]:g} V", "volts of a probe, below 1 MV")
