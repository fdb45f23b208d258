"""Where a pin is, from the top and from the solder side, in words and as a drawing."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest
from pinfolio.plugins.drawing.package_layout import Side
from pinfolio.plugins.drawing.pin_place import describe_place, draw_pin_place, list_neighbours
from pinfolio.schema import Chip

from ...demo_chips import DEMO

JUNGLE = DEMO["tqz5752"]


@pytest.mark.parametrize(
    ("number", "top", "solder"),
    [
        (1, "left row, 1st from the notch end", "right row, 1st from the notch end"),
        (13, "left row, 13th from the notch end", "right row, 13th from the notch end"),
        (22, "left row, 22nd from the notch end", "right row, 22nd from the notch end"),
        (46, "right row, 7th from the notch end", "left row, 7th from the notch end"),
        (52, "right row, 1st from the notch end", "left row, 1st from the notch end"),
    ],
)
def test_a_pin_of_two_rows_is_counted_from_the_notch(number: int, top: str, solder: str) -> None:
    """Counting down the left side and up the right is the rule of JEDEC MS-001 packages."""
    assert describe_place(JUNGLE, number) == top
    assert describe_place(JUNGLE, number, "solder") == solder


def test_other_packages_say_which_end_or_side() -> None:
    standing, flat = DEMO["tqz3609"], DEMO["kye6848"]
    assert describe_place(standing, 3) == "3rd from the marked end, which is at the left"
    assert describe_place(standing, 3, "solder").endswith("at the right")
    assert describe_place(flat, 3) == "left side, 3rd from above"
    assert describe_place(flat, 14) == "bottom side, 2nd from left"


def test_the_neighbours_are_those_of_the_row() -> None:
    assert list_neighbours(JUNGLE, 13) == ("12 COINC", "14 SLICE")
    assert list_neighbours(JUNGLE, 26) == ("25 V RAMP",)  # pin 27 is at the foot of the other row


@pytest.mark.parametrize("side", ["top", "solder"])
@pytest.mark.parametrize("chip", DEMO.values(), ids=DEMO)
def test_every_pin_is_drawn_among_its_neighbours_within_the_frame(chip: Chip, side: Side) -> None:
    for pin in chip.pins:
        drawing = draw_pin_place(chip, pin.number, side)
        root = ElementTree.fromstring(drawing)
        numbers = [e.text for e in root.iter() if e.get("class") in ("tn", "tm")][::2]
        assert str(pin.number) in numbers
        assert len(numbers) == min(5, len(numbers))
        xs = [float(x) for x in re.findall(r' c?x="(-?[0-9.]+)"', drawing)]
        assert all(0 <= x <= 250 for x in xs), (pin.number, side)


def test_pads_are_round_from_the_solder_side_only() -> None:
    assert draw_pin_place(JUNGLE, 13, "top").count("<circle") == 1  # the spot
    assert draw_pin_place(JUNGLE, 13, "solder").count("<circle") == 6
