"""Packages against published outlines.

Sources: JEDEC MS-001 and MS-011 (DIP), MS-012 and MS-013 (SO), MS-026 (QFP); pin counts, pitches,
row spacings and numbering of DIP and shrink DIP as in the encyclopedia article "Dual in-line
package"; MS-013, MS-150 and the larger QFP bodies are from memory.
"""

from __future__ import annotations

import math

import pytest
from pinfolio.schema import Package
from pinfolio.schema.chips.package import compute_body_size_mm, place_pins


@pytest.mark.parametrize(
    ("family", "pitch_mm"),
    [("DIP", 2.54), ("SDIP", 1.778), ("SO", 1.27), ("SSOP", 0.65), ("QFP", 0.80)],
)
def test_usual_pitch(family: str, pitch_mm: float) -> None:
    assert Package(family=family, pins=32).pitch_mm == pitch_mm


@pytest.mark.parametrize(
    ("family", "pins", "mil"),
    [
        ("DIP", 8, 300),
        ("DIP", 14, 300),
        ("DIP", 16, 300),
        ("DIP", 20, 300),
        ("DIP", 28, 600),
        ("DIP", 40, 600),
        ("DIP", 48, 600),
        ("DIP", 64, 900),
        ("SDIP", 24, 300),
        ("SDIP", 30, 400),  # common practice, from memory
        ("SDIP", 42, 600),
        ("SDIP", 52, 600),
        ("SDIP", 56, 600),
        ("SDIP", 64, 750),
    ],
)
def test_row_spacing_of_plugged_packages(family: str, pins: int, mil: int) -> None:
    assert Package(family=family, pins=pins).row_spacing_mm == pytest.approx(mil * 0.0254)


@pytest.mark.parametrize(
    ("family", "pins", "width_mm", "length_mm"),
    [
        ("SO", 8, 3.9, 4.9),  # MS-012 AA
        ("SO", 14, 3.9, 8.65),  # MS-012 AB
        ("SO", 16, 3.9, 9.9),  # MS-012 AC
        ("SO", 28, 7.5, 17.9),  # MS-013 AE, from memory
        ("SSOP", 28, 5.3, 10.2),  # MS-150 AH, from memory
        ("QFP", 32, 7.0, 7.0),  # MS-026 ABA
        ("QFP", 44, 10.0, 10.0),  # MS-026, from memory, as the next
        ("QFP", 64, 14.0, 14.0),
        ("DIP", 14, 6.35, 19.1),  # MS-001 AA, from memory, as the next
        ("DIP", 40, 13.8, 52.3),  # MS-011 AC
    ],
)
def test_bodies_are_in_true_proportion(
    family: str, pins: int, width_mm: float, length_mm: float
) -> None:
    size = compute_body_size_mm(Package(family=family, pins=pins))
    assert size == pytest.approx((width_mm, length_mm), rel=0.08)


@pytest.mark.parametrize(
    ("pins", "pitch", "body_mm"),
    [(48, "0.5 mm", 7), (64, "0.5 mm", 10), (80, "0.65 mm", 14), (100, "0.5 mm", 14)],
)
def test_flat_packs_of_other_pitches(pins: int, pitch: str, body_mm: float) -> None:
    """Square bodies of MS-026, from memory."""
    package = Package.model_validate({"family": "QFP", "pins": pins, "pitch": pitch})
    assert compute_body_size_mm(package) == pytest.approx((body_mm, body_mm))


def test_a_flat_pack_is_9_mm_over_its_leads() -> None:
    """MS-026 ABA: 8.9 to 9.1 mm from tip to tip; the feet are 0.45 to 0.75 mm long."""
    between_feet_mm = Package(family="QFP", pins=32).row_spacing_mm
    assert 8.9 - 0.75 <= between_feet_mm <= 9.1 - 0.45


def test_dip_14_counts_down_the_left_and_up_the_right() -> None:
    """Left 1 to 7, right from the bottom 8 to 14, notch up."""
    feet = {number: (x, y) for number, x, y in place_pins(Package(family="DIP", pins=14))}
    left = sorted((n for n, (x, _) in feet.items() if x < 0), key=lambda n: feet[n][1])
    right = sorted((n for n, (x, _) in feet.items() if x > 0), key=lambda n: feet[n][1])
    assert left == [1, 2, 3, 4, 5, 6, 7]
    assert right == [14, 13, 12, 11, 10, 9, 8]


def test_dip_28_corners() -> None:
    """1 top left, 14 bottom left, 15 bottom right, 28 top right."""
    feet = {number: (x, y) for number, x, y in place_pins(Package(family="DIP", pins=28))}
    x, y = 7.62, 6.5 * 2.54
    for number, corner in {1: (-x, -y), 14: (-x, y), 15: (x, y), 28: (x, -y)}.items():
        assert feet[number] == pytest.approx(corner)


@pytest.mark.parametrize("family", ["DIP", "SDIP", "SO", "SSOP", "QFP"])
def test_numbers_run_counter_clockwise_seen_from_the_top(family: str) -> None:
    feet = [(x, -y) for _, x, y in place_pins(Package(family=family, pins=32))]
    area = sum(
        x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(feet, feet[1:] + feet[:1], strict=True)
    )
    assert area > 0  # with y up, a counter-clockwise outline has positive area
    assert math.atan2(feet[0][1], feet[0][0]) > 0  # pin 1 is in the upper half
    assert feet[0][0] < 0  # and at the left
