"""The generated catalogue keeps its promises: valid, always the same, in realistic numbers."""

from __future__ import annotations

from itertools import islice

from catalogue import generate_chips, generate_json_lines
from pinfolio.loaders.chip_files.json_lines import read_json_line
from pinfolio.schema.text import part_key

CHIPS = 150


def test_lines_are_documents_and_the_same_as_the_models() -> None:
    for line, chip in zip(generate_json_lines(CHIPS), generate_chips(CHIPS), strict=True):
        read, document = read_json_line(line, "catalogue", 1)
        assert (read, document.encode() + b"\n") == (chip, line)
        assert chip.invented


def test_a_smaller_catalogue_begins_a_larger_one() -> None:
    assert list(generate_json_lines(40)) == list(islice(generate_json_lines(CHIPS), 40))
    assert next(generate_json_lines(1, seed=1)) != next(generate_json_lines(1))


def test_numbers_are_those_of_real_catalogues() -> None:
    chips = list(generate_chips(CHIPS))
    pins = [pin for chip in chips for pin in chip.pins]
    assert len({part_key(chip.part) for chip in chips}) == CHIPS
    assert 34 < len(pins) / CHIPS < 44
    assert 0.25 < sum(any(e.waveform for e in pin.expectations) for pin in pins) / len(pins) < 0.4
    assert 1 < sum(len(pin.expectations) for pin in pins) / len(pins) < 2
