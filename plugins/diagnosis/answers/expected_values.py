"""The expected result of a measurement: the figure with its limits, stated or calculated."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ....schema import Chip
from ....schema.chips.limits import print_figure
from ...readings.places import find_part
from ..evidence.observations import find_point_limits
from ..evidence.part_tests import find_good_share, find_unit
from ..weighing.known_board import KnownBoard
from ..weighing.resistances import list_two_lead_parts, simulate_across_parts

_RIPPLE_SHARE: Final = 0.01  # of the supply: what small-signal stages bear. Common practice.
_SPREADS: Final = 2.5  # standard deviations of good boards that count as right
_SLACK: Final = 0.15  # beyond the good boards that were drawn: more may be good as well
_UNITS: Final = {"dc": "V", "vpp": "Vpp", "frequency": "Hz", "ripple": "Vpp"}


@dataclass(frozen=True)
class ExpectedValue:
    """A figure that should be read."""

    quantity: str
    """``dc``, ``vpp``, ``frequency``, ``ripple`` or ``out of circuit``."""
    unit: str
    value: float
    low: float
    high: float
    source: str
    """``stated``, ``assumed`` or ``observed`` as the catalogue has it; ``calculated`` from the
    drawn circuit."""

    @property
    def words(self) -> str:
        """The figure: ``3.4 V``."""
        return print_figure(self.value, self.unit)

    @property
    def span(self) -> str:
        """Its limits: ``3.06 V to 3.74 V``; of a ripple the most that is right."""
        if self.quantity == "ripple":
            return f"{print_figure(self.high, self.unit)} or less"
        return f"{print_figure(self.low, self.unit)} to {print_figure(self.high, self.unit)}"

    def document(self) -> dict[str, Any]:
        """Return the figure as plain data."""
        return {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "unit": self.unit,
            "words": self.words,
            "span": self.span,
            "source": self.source,
        }


def find_expected_value(board: KnownBoard, at: str, quantity: str) -> ExpectedValue | None:
    """Return the expected figure of a pin, a node, or a part out of circuit.

    None where neither the catalogue nor the drawn circuit gives one.
    """
    chip = board.chip
    if quantity == "out of circuit":
        return _find_part_value(chip, at)
    if quantity == "resistance" and find_part(chip, at) is not None:
        return _calculate_ohms_across(board, at)
    # No sheet states ripple: a usual share of the supply is allowed.
    if quantity == "ripple":
        most_v = find_ripple_limit_v(chip, at)
        return None if most_v is None else ExpectedValue(quantity, "Vpp", 0, 0, most_v, "assumed")
    limits = find_point_limits(chip, at, board.cloud.condition).get(quantity)
    if limits is None:
        return _calculate_value(board, at, quantity)
    return ExpectedValue(
        quantity, limits.unit, limits.typ, limits.low, limits.high, limits.tolerance
    )


def write_expected_range(board: KnownBoard, at: str, quantity: str) -> str:
    """Return the limits in words, ``11.4 V to 12.6 V``; empty where none is known."""
    expected = find_expected_value(board, at, quantity)
    return "" if expected is None else expected.span


def find_ripple_limit_v(chip: Chip, at: str) -> float | None:
    """Return the ripple that a supply pin may show, peak to peak; None at any other point."""
    for supply in chip.supplies:
        if at in {f"pin {number}" for number in supply.pins}:
            return _RIPPLE_SHARE * abs(supply.voltage.nominal)
    return None


def _calculate_ohms_across(board: KnownBoard, ref: str) -> ExpectedValue | None:
    """Return the resistance of good boards across a part in circuit, with the set off."""
    refs = [part.ref for part in list_two_lead_parts(board.chip)]
    if ref not in refs:
        return None
    ohms = simulate_across_parts(board)[0, :, refs.index(ref)]
    low, high = float(ohms.min()) * (1 - _SLACK), float(ohms.max()) * (1 + _SLACK)
    return ExpectedValue("resistance", "Ω", float(np.median(ohms)), low, high, "calculated")


def _find_part_value(chip: Chip, ref: str) -> ExpectedValue | None:
    part = find_part(chip, ref)
    unit = find_unit(part) if part is not None else None
    if part is None or part.quantity is None or unit is None:
        return None
    low, high = (share * part.quantity.nominal for share in find_good_share(part))
    source = "stated" if part.tolerance is not None else "assumed"
    return ExpectedValue("out of circuit", unit, part.quantity.nominal, low, high, source)


def _calculate_value(board: KnownBoard, at: str, quantity: str) -> ExpectedValue | None:
    """Return the figure of good boards, calculated from the drawn circuit; None without one."""
    cloud, spreads = board.cloud, board.spreads
    column = cloud.column.get(at)
    if column is None or quantity not in _UNITS:
        return None
    healthy_values: dict[str, Any] = {
        "dc": cloud.healthy_dc_v,
        "vpp": cloud.healthy_vpp_v,
        "frequency": cloud.healthy_frequency_hz,
    }
    value = float(healthy_values[quantity][column])
    if not math.isfinite(value) or (quantity != "dc" and value <= 0):
        return None
    unit = _UNITS[quantity]
    if quantity == "dc":
        half_v = _SPREADS * float(spreads.dc_v[column])
        return ExpectedValue(quantity, unit, value, value - half_v, value + half_v, "calculated")
    # Amplitudes and frequencies spread in proportion.
    spread = (spreads.vpp if quantity == "vpp" else spreads.frequency)[column]
    factor = math.exp(_SPREADS * float(spread))
    return ExpectedValue(quantity, unit, value, value / factor, value * factor, "calculated")
