"""Slips that the YAML parser notices lines later: the place of the slip and its repair."""

from __future__ import annotations

import pytest
import yaml
from pinfolio.loaders.chip_files.yaml_slips import find_yaml_slip


@pytest.mark.parametrize(
    ("text", "place", "write"),
    [
        ("a: b\nrole input\nc: d\n", (2, 1), "role: input"),
        ("a: b\nrole:input\nc: d\n", (2, 1), "role: input"),
        ("- {a: [pin 9, ground}\n", (1, 7), "[pin 9, ground]"),
        ("- {a: [pin 9, ground, b: c}\n", (1, 7), "[pin 9, ground]"),
        ('- {a: "open}\n- {a: "closed"}\n', (1, 7), '"open"'),
        ("a: b\n  c: d\n", (2, 3), None),
    ],
)
def test_place_and_repair(text: str, place: tuple[int, int], write: str | None) -> None:
    with pytest.raises(yaml.MarkedYAMLError) as refused:
        yaml.compose(text, Loader=yaml.CBaseLoader)
    slip = find_yaml_slip(text, refused.value)
    assert slip is not None
    assert ((slip.line, slip.column), slip.write) == (place, write)
