"""How long a step of fault finding takes: weighing every suspect and pair, and what to probe next.

Plain is one bare numpy pass over arrays of the same sizes: for each reading a product over the
square of the hypotheses, then a logarithm over the table of outcomes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.faultfinding.circuit import ac_network, dc_network, signal_frequencies
from pinfolio.plugins.faultfinding.failures import failures, fault_dictionary
from pinfolio.plugins.faultfinding.hypotheses import hypotheses
from pinfolio.plugins.faultfinding.job import find_fault
from pinfolio.plugins.faultfinding.other_tests import with_other_tests
from pinfolio.plugins.faultfinding.outcomes import Predictions, predictions
from pinfolio.plugins.faultfinding.worked_out import work_out, working_condition
from pinfolio.plugins.readings.reading_syntax import parse_reading
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN

Report = Callable[..., None]
Seconds = Callable[..., float]
READINGS = 6
PINS = 64


@pytest.fixture(scope="module")
def largest() -> Chip:
    """The demonstration chip with the most pins, with as many more as make sixty-four.

    Each further pin reads like one that the chip has, with its signal, a resistor and a capacitor
    on it, and belongs to the stages of that pin.
    """
    chip = max((load_chip(path) for path in chip_files()), key=lambda chip: len(chip.pins))
    fields = chip.model_dump(mode="json", exclude_defaults=True)
    alike = [pin for pin in fields["pins"] if pin["role"] in ("output", "filter", "input")]
    for number in range(len(chip.pins) + 1, PINS + 1):
        model = alike[number % len(alike)]
        fields["pins"].append(model | {"number": number, "symbol": f"X{number}"})
        fields["application"]["parts"] += [
            {"ref": f"R{900 + number}", "kind": "resistor", "value": "10k",
             "joins": [f"pin {number}", "ground"]},
            {"ref": f"C{900 + number}", "kind": "capacitor", "value": "22 pF",
             "joins": [f"pin {number}", "ground"]},
        ]  # fmt: skip
        for block in fields["blocks"]:
            for ends in (block.get("inputs", []), block.get("outputs", [])):
                if f"pin {model['number']}" in ends:
                    ends.append(f"pin {number}")
    fields |= {"part": f"{chip.part} with {PINS} pins", "package": {"family": "SDIP", "pins": PINS}}
    return Chip.model_validate(fields)


@pytest.fixture(scope="module")
def predicted(largest: Chip) -> Predictions:
    """As a step takes them: with the tests of passive parts."""
    condition = working_condition(largest)
    known = work_out(largest, condition)
    among = hypotheses(largest, known.dictionary)
    on = predictions(largest, known.dictionary, among)
    return with_other_tests(largest, known.off, on, condition)


def test_a_step(largest: Chip, predicted: Predictions, report: Report, seconds: Seconds) -> None:
    """Six readings taken: judged, every suspect and pair weighed, the next measurements ranked, and
    all said that the page says."""
    places = list(dict.fromkeys(p.at for p in predicted.points if p.quantity == "vpp"))[:READINGS]
    taken = [parse_reading(f"{at.removeprefix('pin ')} vpp=1Vpp") for at in places]
    count = len(predicted.hypotheses)
    square, table = np.ones((count, count)), predicted.table

    def plain() -> None:
        for column in range(READINGS):
            np.multiply(square, table[:, column, 0][:, None])
        (table * np.log2(table)).sum(axis=2)

    def step() -> None:
        find_fault(largest, [], taken, BUILT_IN.choose())

    step()  # what depends on no reading is worked out
    name = f"step of {largest.part}, {len(largest.pins)} pins"
    report(name, seconds(step, 10), seconds(plain, 10), hypotheses=count, points=table.shape[1])


def test_the_dictionary(largest: Chip, report: Report, seconds: Seconds) -> None:
    """Built once for a chip; plain is numpy solving as many systems of the same size."""
    condition = working_condition(largest)
    networks = [dc_network(largest, condition)]
    networks += [
        ac_network(largest, condition, hz) for hz in signal_frequencies(largest, condition)
    ]
    count = 1 + sum(1 for _ in failures(networks[0].elements))
    size = len(networks[0].names)
    matrices = np.eye(size) + np.random.default_rng(1).random((size, size)) + 0j

    def plain() -> None:
        for _ in range(count * len(networks)):
            np.linalg.solve(matrices, matrices[0])

    ours_s = seconds(lambda: fault_dictionary(largest, condition))
    name = f"dictionary of {largest.part}"
    report(name, ours_s, seconds(plain), solutions=count * len(networks), nodes=size)


def test_the_predictions(largest: Chip, report: Report, seconds: Seconds) -> None:
    """Built once after the dictionary; plain is filling the same table with numpy."""
    dictionary = fault_dictionary(largest, working_condition(largest))
    among = hypotheses(largest, dictionary)
    shape = predictions(largest, dictionary, among).table.shape

    def plain() -> None:
        table = np.empty(shape)
        for row in range(shape[0]):
            for column in range(shape[1]):
                table[row, column] = 1 / shape[2]

    ours_s = seconds(lambda: predictions(largest, dictionary, among))
    report(f"predictions of {largest.part}", ours_s, seconds(plain), hypotheses=len(among))
