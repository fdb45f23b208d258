"""The JSON Schema that editors check chip files by: valid, documented, and true to the demo."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

import jsonschema
import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.errors import ChipFileError
from pinfolio.schema import chip_json_schema
from pinfolio.schema.file_format.field_docs import read_field_docs
from pinfolio.schema.model import Model

SCHEMA = chip_json_schema()


class EditorsYaml(yaml.SafeLoader):
    """YAML as most editors read it. Source: YAML 1.2.2, section 10.3, "Core Schema"."""


EditorsYaml.yaml_implicit_resolvers = {}
for tag, pattern in (
    ("null", r"^(?:null|Null|NULL|~|)$"),
    ("bool", r"^(?:true|True|TRUE|false|False|FALSE)$"),
    ("int", r"^[-+]?[0-9]+$"),
    ("float", r"^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$"),
):
    EditorsYaml.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(pattern), None)


READERS = {"YAML 1.2": EditorsYaml, "YAML 1.1": yaml.SafeLoader}


def list_complaints(text: str, reader: type[yaml.SafeLoader] = EditorsYaml) -> list[str]:
    """Where an editor would underline the chip file ``text``."""
    validator = jsonschema.Draft202012Validator(SCHEMA)
    return [error.json_path for error in validator.iter_errors(yaml.load(text, reader))]


def change_demo(written: str = "", instead: str = "") -> str:
    """A demo chip file, with the text ``written`` replaced once."""
    path = next(path for path in chip_files() if path.stem == "tqz5752")
    text = path.read_text(encoding="utf-8")
    assert written in text
    return text.replace(written, instead, 1)


def test_it_is_a_schema_of_its_dialect() -> None:
    """Validated against the meta-schema of draft 2020-12, by the jsonschema library."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_demo_chip_is_valid_as_an_editor_reads_it(
    path: Path, reader: type[yaml.SafeLoader]
) -> None:
    assert list_complaints(path.read_text(encoding="utf-8"), reader) == []


@pytest.mark.parametrize(
    ("written", "instead"),
    [
        ("invented: yes", "invented: Yes"),
        ("invented: yes", "invented: true"),
        ("invented: yes", "invented: 'no'"),
        ("number: 1\n", "number: '1'\n"),
    ],
)
def test_what_the_loader_reads_is_not_underlined(written: str, instead: str) -> None:
    text = change_demo(written, instead)
    read_chip(text.encode(), "demo.yaml")
    assert list_complaints(text) == []


@pytest.mark.parametrize(
    ("written", "instead", "place"),
    [
        ("role: supply", "role: suply", "$.pins[*].role"),
        ("invented: yes", "invented: perhaps", "$.invented"),
        ("invented: yes", "invented:", "$.invented"),
        ("number: 1\n", "number: one\n", "$.pins[*].number"),
        ("number: 1\n", "numbr: 1\n", "$.pins[*]"),
        ("resistance: 50 kΩ", "resistance: 12", "$.pins[*].resistance"),
        ("resistance: 50 kΩ", "resistance: '12'", "$.pins[*].resistance"),
        ("resistance: 50 kΩ", "resistance:", "$.pins[*].resistance"),
    ],
)
def test_what_the_loader_refuses_is_underlined(written: str, instead: str, place: str) -> None:
    text = change_demo(written, instead)
    with pytest.raises(ChipFileError):
        read_chip(text.encode(), "demo.yaml")
    assert {re.sub(r"[0-9]+", "*", found) for found in list_complaints(text)} == {place}


def test_keys_say_what_they_mean_and_quantities_give_an_example() -> None:
    pin = SCHEMA["$defs"]["Pin"]["properties"]
    assert pin["function"]["description"] == "Function of the pin, in the trade's words."
    assert pin["absolute_maximum"]["description"] == "Voltage that must never be exceeded."
    assert pin["absolute_maximum"]["examples"] == ["4.2 V"]


class Older(Model, use_attribute_docstrings=True):
    kind: str
    """Meaning of the older."""
    volts: float = 0.0
    """Over two lines,
    the second set in.
    """
    amperes: float = 0.0
    "Said by the older alone."
    count: int = 0


class Newer(Older):
    kind: Literal["newer"] = "newer"
    volts: float = 1.0
    """Said anew."""

    def method(self) -> None:
        """A name that no field has."""


@pytest.mark.parametrize("model", [Older, Newer])
def test_meanings_are_those_that_pydantic_reads(model: type[Model]) -> None:
    """Compared with pydantic's own reading of the source, by ``use_attribute_docstrings``."""
    fields = model.model_fields.items()
    assert read_field_docs(model) == {
        k: field.description for k, field in fields if field.description
    }


def test_every_key_has_a_description() -> None:
    for name, model in {**SCHEMA["$defs"], "chip": SCHEMA}.items():
        for key, described in model.get("properties", {}).items():
            fixed = "const" in described
            assert fixed or described.get("description"), f"{name}.{key}"
