"""The JSON Schema that editors check chip files by: valid, documented, and true to the demo."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from pinfolio.data_demo import chip_files
from pinfolio.schema import chip_json_schema

SCHEMA = chip_json_schema()


class EditorsYaml(yaml.SafeLoader):
    """YAML as editors read it. Source: YAML 1.2.2, section 10.3, "Core Schema"."""


EditorsYaml.yaml_implicit_resolvers = {}
for tag, pattern in (
    ("bool", r"^(?:true|True|TRUE|false|False|FALSE)$"),
    ("int", r"^[-+]?[0-9]+$"),
    ("float", r"^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$"),
):
    EditorsYaml.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(pattern), None)


def as_read(path: Path) -> Any:
    return yaml.load(path.read_text(encoding="utf-8"), EditorsYaml)


def test_it_is_a_schema_of_its_dialect() -> None:
    """Held against the meta-schema of draft 2020-12, by the jsonschema library."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
def test_every_demo_chip_is_valid_as_an_editor_reads_it(path: Path) -> None:
    errors = list(jsonschema.Draft202012Validator(SCHEMA).iter_errors(as_read(path)))
    assert [f"{e.json_path}: {e.message[:100]}" for e in errors] == []


def test_a_slip_is_seen() -> None:
    chip = as_read(chip_files()[0])
    chip["pins"][0]["role"] = "suply"
    validator = jsonschema.Draft202012Validator(SCHEMA)
    assert [error.json_path for error in validator.iter_errors(chip)] == ["$.pins[0].role"]


def test_keys_say_what_they_mean_and_quantities_give_an_example() -> None:
    pin = SCHEMA["$defs"]["Pin"]["properties"]
    assert pin["function"]["description"] == "What the pin does, in the trade's words."
    assert "4.2 V" in str(pin["absolute_maximum"])
