"""Where signals come in from outside, on the demonstration chips and on a made one."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.outside import outside_nodes, reached
from pinfolio.schema import Application, Chip


def demo_chip(stem: str) -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == stem))


@pytest.mark.parametrize(
    ("stem", "node"),
    [("mdq3724", "socket-a-green"), ("kye2620", "video-line"), ("tqz5752", "if-video")],
)
def test_a_socket_or_a_line_from_another_board_comes_from_outside(stem: str, node: str) -> None:
    assert node in outside_nodes(demo_chip(stem))


@pytest.mark.parametrize(
    ("stem", "node"),
    [
        ("mdq3724", "amplifier-green"),  # behind the output at pin 17
        ("kye6848", "line-out"),  # behind the output at pin 24 and its transistor
        ("tqz3609", "yoke-sense"),  # behind the output at pin 4 and the yoke
    ],
)
def test_what_an_output_makes_does_not(stem: str, node: str) -> None:
    assert node not in outside_nodes(demo_chip(stem))


def test_a_signal_is_followed_through_nodes_and_stops_at_pins_and_rails() -> None:
    """video-line goes by R503 and C504 to pin 5, and by nothing to the supply."""
    found = reached(demo_chip("kye2620"), {"video-line"})
    assert "pin 5" in found
    assert "ground" not in found
    assert not any(end.startswith("rail") for end in found)


def test_the_far_end_of_a_chain_is_the_source() -> None:
    """Socket, then a node half-way, then pin 2: one thing is missing from outside, not two."""
    chip = demo_chip("mdq3724")
    shown = next(n for n in chip.application.nodes if n.id == "socket-a-green").expectations
    parts = (
        {"ref": "R1", "kind": "resistor", "value": "1k", "joins": ("socket", "half-way")},
        {"ref": "C1", "kind": "capacitor", "value": "100n", "joins": ("half-way", "pin 2")},
    )
    nodes = tuple({"id": name, "name": name, "expectations": shown} for name in
                  ("half-way", "socket"))  # fmt: skip
    made = Application.model_validate({"parts": parts, "nodes": nodes})
    assert outside_nodes(chip.model_copy(update={"application": made})) == ["socket"]


def test_one_line_that_feeds_several_pins_is_one_source() -> None:
    """if-video goes straight to pin 2, by the delay line to pin 11 and by sync-node to pin 37."""
    assert outside_nodes(demo_chip("ogx7342")) == ["if-video"]
    assert "luminance-node" not in outside_nodes(demo_chip("mdq4628"))


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_no_source_is_counted_twice(path: Path) -> None:
    """Of two nodes that parts join together, both count only where each is an end of its own."""
    chip = load_chip(path)
    found = outside_nodes(chip)
    for node in found:
        for other in set(found) & reached(chip, {node}) - {node}:
            joins = [p for p in chip.application.parts if other in p.joins]
            assert len(joins) == 1, (node, other)
