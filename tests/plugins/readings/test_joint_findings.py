"""A supply that takes the bias voltages with it. Common practice: they are divided down from it."""

from __future__ import annotations

import pytest
from pinfolio.plugins.readings.checks import check_pin
from pinfolio.plugins.readings.joint_findings import describe_supply_scaling
from pinfolio.plugins.readings.verdict import PinVerdict
from pinfolio.schema import Chip, Pin
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

DIGITAL = BUILT_IN.choose()


@pytest.fixture
def chip() -> Chip:
    def pin(number: int, symbol: str, role: str, dc: str) -> dict[str, object]:
        expectation = {"condition": "bars", "dc": dc, "source": {"id": "sheet"}}
        return {
            "number": number, "symbol": symbol, "function": symbol, "role": role,
            "expectations": [expectation],
        }  # fmt: skip

    biases = [pin(number, f"B{number}", "decoupling", f"{number} V") for number in range(1, 7)]
    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1", "part": "QZ1", "maker": "Nobody",
            "kind": "chroma/luma processor", "summary": "Invented for this test.",
            "invented": True, "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "12 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "bars", "means": "Bars."}],
            "pins": [*biases, pin(7, "GND", "ground", "0 V"), pin(8, "VCC", "supply", "12 V")],
        }
    )  # fmt: skip


def read(chip: Chip, **volts: float) -> list[PinVerdict]:
    """Verdicts on the pins named ``pin_8`` and so on, with their readings."""
    pins: list[Pin] = [next(p for p in chip.pins if f"pin_{p.number}" == n) for n in volts]
    readings = [Reading(dc_v=value) for value in volts.values()]
    return [check_pin(chip, p, r, DIGITAL) for p, r in zip(pins, readings, strict=True)]


def test_a_low_supply_and_two_pins_as_low_are_one_fault(chip: Chip) -> None:
    verdicts = read(chip, pin_8=9.0, pin_2=1.5, pin_4=3.0)
    assert describe_supply_scaling(verdicts) == (
        "Pin 8 VCC is at 9 V, 75% of what it should be, and 2 other pins are off by the same share:"
        " mend the supply first."
    )


def test_one_pin_alone_may_be_chance(chip: Chip) -> None:
    assert describe_supply_scaling(read(chip, pin_8=9.0, pin_2=1.5)) is None


def test_pins_off_by_another_share_have_a_fault_of_their_own(chip: Chip) -> None:
    assert describe_supply_scaling(read(chip, pin_8=9.0, pin_2=1.0, pin_4=2.0)) is None


def test_pins_that_are_as_expected_do_not_follow_the_supply(chip: Chip) -> None:
    assert describe_supply_scaling(read(chip, pin_8=9.0, pin_2=2.0, pin_4=4.0)) is None


@pytest.mark.parametrize(("supply_v", "explains"), [(11.7, False), (11.4, True)])
def test_a_supply_within_three_per_cent_explains_nothing(
    chip: Chip, supply_v: float, explains: bool
) -> None:
    share = supply_v / 12
    verdicts = read(chip, pin_8=supply_v, pin_2=2 * share, pin_4=4 * share)
    off = [verdicts[0], *(each._replace(verdict="too low") for each in verdicts[1:])]
    assert (describe_supply_scaling(off) is not None) == explains
