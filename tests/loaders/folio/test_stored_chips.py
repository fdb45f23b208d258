"""A chip read from a folio equals the one that the validators make of the same document."""

from __future__ import annotations

import json

from hypothesis import given
from pinfolio.schema import Chip
from pinfolio.schema.stored import read_stored


@given(...)
def test_any_chip_is_read_back_as_the_validators_would(chip: Chip) -> None:
    stored = read_stored(Chip, json.loads(chip.document()))
    assert stored == chip
    assert stored.model_fields_set == Chip.model_validate_json(chip.document()).model_fields_set
    assert stored.document() == chip.document()
