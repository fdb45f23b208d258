"""The limits of an output: written, refused where they say nothing, and read back."""

from __future__ import annotations

import json

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml, load_chip, read_chip
from pinfolio.schema import Chip
from pinfolio.schema.chips.data import OutputLimits
from pinfolio.schema.stored import read_stored
from pydantic import ValidationError

CHIP = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))


def test_one_limit_is_enough() -> None:
    limits = OutputLimits.model_validate({"high": "7.2 V"})
    assert limits.high is not None
    assert (limits.low, limits.high.nominal) == (None, 7.2)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({}, "the output limits are empty; give low, high or both"),
        ({"low": "7 V", "high": "1 V"}, "run from 7 V to 1 V; write the lower one as low"),
        ({"low": "1 V", "high": "1 V"}, "write the lower one as low"),
    ],
)
def test_limits_that_limit_nothing_are_refused(fields: dict[str, str], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        OutputLimits.model_validate(fields)


def test_all_statements_are_read_back_from_every_form_of_the_file() -> None:
    """A folio keeps the JSON document; an export is that or YAML."""
    stored = json.loads(CHIP.document())
    assert read_stored(Chip, stored) == CHIP
    assert read_chip(chip_to_yaml(CHIP).encode(), "again.yaml") == CHIP
    pins = {pin["number"]: pin for pin in stored["pins"]}
    assert pins[26]["output_limits"] == {"low": "0.2 V", "high": "7.2 V"}
    assert (pins[48]["threshold"], pins[51]["supply"]) == ("2.4 V", "pin 7")
    blocks = {block["id"]: block for block in stored["blocks"]}
    assert blocks["line-oscillator"]["lock_range"] == "6 kHz"
    assert blocks["burst-gate"]["gated_by"] == ["sandcastle-generator"]
