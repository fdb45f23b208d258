"""Small circuits with one device or one pin, against circuit theory and the exponential diode.

Sources: Ohm, Kirchhoff, Thevenin, any circuit textbook; Shockley's diode equation with the figures
of a small silicon diode (saturation current 2.5 nA, emission coefficient 1.75; from memory) and of
a small transistor (10 fA, current gain 100 and more; from memory). A straight piece is allowed a
tenth of a volt beside an exponential.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from pinfolio.plugins.diagnosis.board.cloud import Hypothesis
from pinfolio.plugins.diagnosis.board.devices import (
    OFF,
    ON,
    SATURATED,
    Diode,
    Transistor,
    list_devices,
    make_clamp,
)
from pinfolio.plugins.diagnosis.board.network import Stamp, solve_unchanged
from pinfolio.plugins.diagnosis.board.simulate import simulate_failure
from pinfolio.schema import Chip, Part
from scipy.optimize import brentq

STIFF_OHM = 0.01
THERMAL_V = 0.02585  # kT/q at 300 K


def solve(
    nodes: int,
    resistors: Sequence[tuple[int, int, float]],
    sources: Sequence[tuple[int, float]],
    *devices: Diode | Transistor,
) -> tuple[list[float], list[int]]:
    """Node voltages and states of devices: each state follows from the voltages it makes.

    ``resistors`` between two nodes, the last of which is ground; ``sources`` of volts at a node.
    """
    states = [OFF] * len(devices)
    for _ in range(30):
        stamp = Stamp(1, nodes)
        for first, second, ohm in resistors:
            stamp.add((first, second), 1 / ohm)
        for node, volts in sources:
            stamp.add((node, nodes), 1 / STIFF_OHM, -volts / STIFF_OHM)
        for device, state in zip(devices, states, strict=True):
            for out, siemens, amperes, sense in device.list_terms(state):
                stamp.add(out, siemens, amperes, sense)
        found = solve_unchanged(stamp.invert(), stamp.amperes)
        wanted = [
            int(device.next_state(np.array([state]), found)[0])
            for device, state in zip(devices, states, strict=True)
        ]
        if wanted == states:
            return found[0, :nodes].tolist(), states
        states = wanted
    raise AssertionError("no states agree with their voltages")


def solve_shockley_v(feed_v: float, ohm: float, saturation_a: float, emission: float) -> float:
    """Volts across an exponential diode fed through a resistor."""
    own_v = emission * THERMAL_V

    def left_over(volts: float) -> float:
        return (feed_v - volts) / ohm - saturation_a * math.expm1(volts / own_v)

    return float(brentq(left_over, 0.0, min(feed_v, 1.2)))


class TestADiode:
    @pytest.mark.parametrize(("feed_v", "ohm"), [(5.0, 1e3), (12.0, 10e3), (12.0, 470.0)])
    def test_drops_what_an_exponential_one_drops(self, feed_v: float, ohm: float) -> None:
        (_, across_v), states = solve(2, [(0, 1, ohm)], [(0, feed_v)], Diode("D1", 1, 2))
        assert states == [ON]
        assert across_v == pytest.approx(solve_shockley_v(feed_v, ohm, 2.5e-9, 1.75), abs=0.1)

    def test_is_a_drop_behind_a_small_resistance(self) -> None:
        """0.6 V and 8 Ω: 4.4 V over 1008 Ω."""
        (_, across_v), _ = solve(2, [(0, 1, 1e3)], [(0, 5.0)], Diode("D1", 1, 2))
        assert across_v == pytest.approx(0.6 + 8 * 4.4 / 1008, rel=1e-4)

    def test_blocks_the_other_way(self) -> None:
        (_, across_v), states = solve(2, [(0, 1, 1e3)], [(0, 5.0)], Diode("D1", 2, 1))
        assert states == [OFF]
        assert across_v == pytest.approx(5.0, rel=1e-3)

    def test_clamps_a_pin_a_drop_above_its_supply(self) -> None:
        """0.65 V and 40 Ω behind 1 kΩ from 12 V, into a supply of 5 V."""
        (_, pin_v, _), states = solve(
            3, [(0, 1, 1e3)], [(0, 12.0), (2, 5.0)], make_clamp("clamp", 1, 2)
        )
        assert states == [ON]
        assert pin_v == pytest.approx(5.65 + 40 * (12 - 5.65) / 1040, rel=1e-3)


class TestAZener:
    ZENER = Diode("ZD1", 2, 1, zener_v=6.2)

    def test_holds_its_voltage(self) -> None:
        """5.8 V over 1 kΩ and its own 15 Ω."""
        (_, across_v), _ = solve(2, [(0, 1, 1e3)], [(0, 12.0)], self.ZENER)
        assert across_v == pytest.approx(6.2 + 15 * 5.8 / 1015, rel=1e-3)

    def test_does_nothing_below_it_and_conducts_the_other_way(self) -> None:
        (_, below_v), _ = solve(2, [(0, 1, 1e3)], [(0, 5.0)], self.ZENER)
        assert below_v == pytest.approx(5.0, rel=1e-3)
        (_, forward_v), _ = solve(2, [(0, 1, 1e3)], [(0, -5.0)], self.ZENER)
        assert forward_v == pytest.approx(-0.635, abs=0.01)

    def test_is_read_from_its_part_and_a_plain_diode_never_breaks_down(self) -> None:
        part = Part(ref="ZD1", kind="zener diode", joins=("a", "b"), value="6.2 V", purpose="x")
        (zener,) = list_devices(part, {"a": 0, "b": 1})
        assert isinstance(zener, Diode)
        assert (zener.anode, zener.cathode, zener.zener_v) == (0, 1, pytest.approx(6.2))
        (plain,) = list_devices(part.model_copy(update={"kind": "diode"}), {"a": 0, "b": 1})
        assert isinstance(plain, Diode)
        assert math.isinf(plain.zener_v)


class TestATransistor:
    @pytest.mark.parametrize("sign", [1, -1])
    def test_follows_its_base_a_junction_below(self, sign: int) -> None:
        """3 V at the base of an emitter follower with 1 kΩ: 2.35 V, and a 120th of its current."""
        follower = Transistor("Q1", 1, 2, 3, sign)
        volts, states = solve(
            4, [(0, 1, 1e3), (3, 4, 1e3)], [(0, 3.0 * sign), (2, 12.0 * sign)], follower
        )
        _, base_v, _, emitter_v = volts
        assert states == [ON]
        emitter_a = sign * emitter_v / 1e3
        junction_v = THERMAL_V * math.log(emitter_a / 1e-14)
        assert sign * (base_v - emitter_v) == pytest.approx(junction_v, abs=0.1)
        base_a = sign * (3.0 * sign - base_v) / 1e3
        assert emitter_a / base_a == pytest.approx(121, rel=0.02)

    @pytest.mark.parametrize("sign", [1, -1])
    def test_saturates_where_its_load_cannot_give_more(self, sign: int) -> None:
        """1 mA into the base would make 120 mA; 12 V over 1 kΩ are a tenth of that."""
        switch = Transistor("Q1", 1, 2, 4, sign)
        volts, states = solve(
            4, [(0, 1, 4.3e3), (3, 2, 1e3)], [(0, 5.0 * sign), (3, 12.0 * sign)], switch
        )
        assert states == [SATURATED]
        assert sign * volts[2] == pytest.approx(0.1 + 6 * 11.9 / 1006, rel=0.01)
        assert 0.6 < sign * volts[1] < 0.8

    @pytest.mark.parametrize(("ohm", "state"), [(300e3, ON), (400e3, ON), (60e3, SATURATED)])
    def test_gives_its_gain_times_the_base_current(self, ohm: float, state: int) -> None:
        """Collector to 12 V by 2.2 kΩ, base to 12 V by the resistor."""
        volts, states = solve(
            3, [(0, 1, ohm), (0, 2, 2.2e3)], [(0, 12.0)], Transistor("Q1", 1, 2, 3)
        )
        assert states == [state]
        if state == ON:
            base_a, collector_a = (12 - volts[1]) / ohm, (12 - volts[2]) / 2.2e3
            assert collector_a / base_a == pytest.approx(120, rel=0.02)

    @pytest.mark.parametrize("sign", [1, -1])
    def test_is_off_without_base_current(self, sign: int) -> None:
        volts, states = solve(
            3, [(1, 3, 10e3), (0, 2, 1e3)], [(0, 12.0 * sign)], Transistor("Q1", 1, 2, 3, sign)
        )
        assert states == [OFF]
        assert sign * volts[2] == pytest.approx(12.0, rel=1e-3)

    @pytest.mark.parametrize("sign", [1, -1])
    def test_has_a_base_that_is_a_diode(self, sign: int) -> None:
        junction = Transistor("Q1", 0, 1, 2, sign).make_junction()
        ends = (junction.anode, junction.cathode)
        assert ends == ((0, 2) if sign > 0 else (2, 0))
        assert junction.drop_v == pytest.approx(0.62)


def make_chip(pin: dict[str, Any], *parts: dict[str, Any]) -> Chip:
    """A chip of 12 V whose pin 1 is an output, with parts around it."""
    sheet = {"id": "sheet"}
    shown = [{"condition": "bars", "dc": pin.pop("dc"), "source": sheet}]
    output = {"number": 1, "symbol": "OUT", "function": "output", "role": "output", **pin}
    unused = {"function": "not connected", "role": "unused"}
    supply = [{"condition": "bars", "dc": "12 V", "source": sheet}]
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V", "current": "20 mA"}],
            "sources": [{**sheet, "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "bars", "means": "Bars."}],
            "pins": [
                {**output, "expectations": shown},
                *({"number": n, "symbol": f"NC{n}", **unused} for n in range(2, 7)),
                {"number": 7, "symbol": "GND", "function": "ground", "role": "ground"},
                {"number": 8, "symbol": "VCC", "function": "supply", "role": "supply",
                 "expectations": supply},
            ],
            "application": {"parts": [
                {"purpose": "test", "ref": f"R{n}", "kind": "resistor", **part}
                for n, part in enumerate(parts, 1)
            ]},
        }
    )  # fmt: skip


def read_dc_v(chip: Chip, ref: str, failure: str) -> float:
    """The middle of the boards with a part failed, in volts at pin 1."""
    cloud = simulate_failure(chip, "bars", Hypothesis("part", ref, failure, ref, 1.0))
    return float(np.median(cloud.dc_v[1, :, cloud.column["pin 1"]]))


class TestAPin:
    """A voltage behind the pin's own resistance (Thevenin), which loads and feeds move."""

    @pytest.mark.parametrize(("ohm", "open_v"), [("1 kΩ", 9.0), ("500 Ω", 7.5), ("200 Ω", 6.6)])
    def test_rises_to_its_open_voltage_without_its_load(self, ohm: str, open_v: float) -> None:
        """6 V on 2 kΩ are 3 mA, which the pin's own resistance no longer takes away."""
        load = {"value": "2 kΩ", "joins": ["pin 1", "ground"]}
        chip = make_chip({"dc": "6 V", "resistance": ohm}, load)
        assert read_dc_v(chip, "R1", "open") == pytest.approx(open_v, rel=0.06)

    def test_follows_a_feed_that_is_gone(self) -> None:
        """From 12 V by 6 kΩ into a pin of 1 kΩ at 6 V: 1 mA, so 5 V inside."""
        feed = {"value": "6 kΩ", "joins": ["pin 8", "pin 1"]}
        chip = make_chip({"dc": "6 V", "resistance": "1 kΩ"}, feed)
        assert read_dc_v(chip, "R1", "open") == pytest.approx(5.0, rel=0.06)

    def test_good_boards_read_as_the_catalogue_says(self) -> None:
        load = {"value": "2 kΩ", "joins": ["pin 1", "ground"]}
        chip = make_chip({"dc": "6 V", "resistance": "1 kΩ"}, load)
        cloud = simulate_failure(chip, "bars", Hypothesis("part", "R1", "open", "R1", 1.0))
        assert cloud.dc_v[0, :, cloud.column["pin 1"]] == pytest.approx(6.0, rel=2e-3)
