"""Walking over a chip: every expectation with its place in the chip file."""

from __future__ import annotations

from collections.abc import Iterator

from .data import ChipData, Pin
from .expectation import Expectation

Place = tuple[str | int, ...]
"""Keys and indexes that lead to a value in the chip file."""


def walk_pin_expectations(chip: ChipData) -> Iterator[tuple[Place, Pin, Expectation]]:
    """Yield every expectation of every pin with its place and its pin."""
    for index, pin in enumerate(chip.pins):
        for number, expectation in enumerate(pin.expectations):
            yield ("pins", index, "expectations", number), pin, expectation


def walk_expectations(chip: ChipData) -> Iterator[tuple[Place, Expectation]]:
    """Yield every expectation of every pin, then of every node, with its place."""
    for place, _, expectation in walk_pin_expectations(chip):
        yield place, expectation
    for index, node in enumerate(chip.application.nodes):
        for number, expectation in enumerate(node.expectations):
            yield ("application", "nodes", index, "expectations", number), expectation
