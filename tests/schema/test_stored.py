"""A stored model is read back as the validators would have read it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.data_demo import note_files
from pinfolio.loaders.shop.note_files import load_note
from pinfolio.schema import WAVEFORM_KINDS, Chip, Expectation, Package
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.model import Model
from pinfolio.schema.note import Readings
from pinfolio.schema.stored import read_stored

from ..demo_chips import DEMO

CHIPS = [*DEMO.values()]


def list_parts(value: Any) -> list[Any]:
    """Return the types and values in a model, in order, and the fields that were given."""
    if isinstance(value, Model):
        fields = [list_parts(getattr(value, name)) for name in type(value).model_fields]
        return [type(value), value.model_fields_set, *fields]
    if isinstance(value, tuple):
        return [tuple, *map(list_parts, value)]
    return [type(value), value]


def assert_read_alike(model: Model) -> None:
    document = model.model_dump_json(exclude_defaults=True)
    stored = read_stored(type(model), json.loads(document))
    validated = type(model).model_validate_json(document)
    assert list_parts(stored) == list_parts(validated)
    assert stored == model
    assert stored.model_dump_json(exclude_defaults=True) == document


@pytest.mark.parametrize("chip", CHIPS, ids=[chip.part for chip in CHIPS])
def test_a_chip(chip: Chip) -> None:
    assert_read_alike(chip)


def test_notes() -> None:
    for path in note_files():
        assert_read_alike(load_note(path))


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_a_waveform_of_every_kind(kind: str) -> None:
    waveform = {"kind": kind, **WAVEFORM_KINDS[kind].example}
    assert_read_alike(Expectation.model_validate({
        "condition": "colour bars", "waveform": waveform, "source": {"id": "bench"},
    }))  # fmt: skip


def test_the_ordinary_instruments_would_pass_the_validators() -> None:
    for instruments in BUILT_IN:
        for instrument in instruments.values():
            assert_read_alike(instrument)


readings = st.fixed_dictionaries(
    {"dc": st.integers(1, 9999).map(lambda tenths: f"{tenths / 10:g} V ± 2 %")},
    optional={
        "vpp": st.none() | st.sampled_from(["1 Vpp", "300 mVpp", "0.9 .. 1.1 Vpp"]),
        "resistance": st.sampled_from(["4k7", "1 MΩ", "min 100 Ω"]),
        "seen": st.lists(st.sampled_from(["hum", "unstable", "clipped"])),
    },
)


@given(readings)
def test_readings(fields: dict[str, Any]) -> None:
    assert_read_alike(Readings.model_validate(fields))


FLAWED = {
    "no map": ["DIP"],
    "an unknown key": {"family": "DIP", "pins": 16, "colour": "black"},
    "a missing key": {"family": "DIP"},
    "a number as text": {"family": "DIP", "pins": "16"},
    "a truth value as number": {"family": "DIP", "pins": True},
    "a word as number": {"family": 3, "pins": 16},
    "no quantity": {"family": "DIP", "pins": 16, "pitch": "wide"},
    "a quantity as number": {"family": "DIP", "pins": 16, "pitch": 2.54},
}


@pytest.mark.parametrize("document", FLAWED.values(), ids=FLAWED)
def test_a_document_that_was_never_written_is_refused(document: Any) -> None:
    with pytest.raises(ValueError, match=r"is no |has no field|lacks its field|in place|expected"):
        read_stored(Package, document)


@pytest.mark.parametrize("waveform", [{"kind": "wobble"}, {"kind": ["sine"]}, {}, 7])
def test_a_waveform_of_no_kind_is_refused(waveform: Any) -> None:
    document = {"condition": "on", "waveform": waveform, "source": {"id": "bench"}}
    with pytest.raises(ValueError, match=" is no "):
        read_stored(Expectation, document)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=9),
    lambda some: (
        st.lists(some, max_size=3) | st.dictionaries(st.text(max_size=9), some, max_size=3)
    ),
    max_leaves=6,
)


@settings(max_examples=60)
@given(st.data())
def test_any_other_value_is_refused_or_is_valid_in_type(data: st.DataObject) -> None:
    """Nothing but ValueError comes out, whatever a damaged or hostile folio holds."""
    document = json.loads(CHIPS[0].document())
    document[data.draw(st.sampled_from(sorted(document)))] = data.draw(JSON)
    try:
        chip = read_stored(Chip, document)
    except ValueError:
        return
    assert json.loads(chip.document()).keys() <= document.keys()
