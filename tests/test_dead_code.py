"""No dead code: each name that vulture finds unused has a reviewed reason to stay."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from vulture import Vulture
from vulture.core import Item

ROOT = Path(__file__).parents[1]
SOURCES = ("schema", "loaders", "plugins", "data_demo")
LEAST_CONFIDENCE_PERCENT = 60

REGISTERING_DECORATORS: Final = [
    "@advice",
    "@chip_rule",
    "@click.group",
    "@*.command",
    "@field_validator",
    "@hookimpl",
    "@model_validator",
]
"""Decorators that put a function into a table, from which it is called."""

REGISTERED_CLASSES: Final = ("schema/waveforms/kinds/", "plugins/diagnosis/board/stages/")
"""Classes in these folders are listed by their base class and called by their ``kind``."""

EXCEPTIONS: Final = {
    "loaders/drafting/marked_up_tables.py: handle_starttag": "called by html.parser",
    "plugins/diagnosis/board/kinds.py: KIND_NAMES": "the closed list that its test holds complete",
    "plugins/diagnosis/board/operating_point.py: has_switched_off": "compared with ngspice",
    "plugins/diagnosis/board/simulate.py: simulate_failure": "for users who simulate one failure",
    "plugins/diagnosis/board/stages/base.py: __init_subclass__": "called by Python",
    "plugins/notebook.py: _repr_svg_": "called by Jupyter",
    "plugins/notebook.py: _repr_html_": "called by Jupyter",
    "plugins/notebook.py: show_chip": "for users of notebooks",
    "plugins/notebook.py: show_pin": "for users of notebooks",
    "loaders/__init__.py: __getattr__": "called by Python: attributes imported on first use",
    "loaders/captures/scope_link.py: write_termination": "read by pyvisa",
    "loaders/chip_files/yaml_output.py: ignore_aliases": "called by PyYAML",
    "loaders/keys/key_backup.py: derivation": "field of a backup",
    "loaders/system/arriving_files.py: written_ns": "compared as part of a file's identity",
    "loaders/shop/bundle_writing.py: note_format": "field of the bundle's manifest",
    "loaders/shop/bundle_writing.py: create_system": "read by zipfile",
    "plugins/readings/trace_measurements.py: why_no_frequency": "field of an answer",
    "plugins/terminal/cli.py: list_commands": "called by click",
    "plugins/terminal/cli.py: get_command": "called by click",
    "plugins/terminal/cli.py: format_commands": "called by click",
    "plugins/terminal/shop/shops.py: obj": "read by click",
    "plugins/web/folio_database.py: cached_hash": "read by Datasette",
    "plugins/web/folio_database.py: cached_size": "read by Datasette",
    "plugins/web/folio_database.py: _cached_table_counts": "read by Datasette",
    "plugins/web/serving/statements.py: text_factory": "read by sqlite3",
    "plugins/web/serving/timeouts.py: send_400_response": "called by uvicorn",
    "plugins/web/serving/edition.py: written_ns": "compared as part of a tuple",
    "schema/__init__.py: __getattr__": "called by Python: attributes imported on first use",
    "schema/__init__.py: __dir__": "called by Python",
    "schema/instruments/models.py: ac_bandwidth": "field of an instrument's profile",
    "schema/instruments/models.py: ac_percent": "field of an instrument's profile",
    "schema/instruments/models.py: input_capacitance": "field of an instrument's profile",
    "schema/measuring/bandwidth.py: compute_rise_time_s": "formula for users, published check",
    "schema/measuring/bandwidth.py: combine_rise_times_s": "formula for users, published check",
    "schema/measuring/compensation.py: compute_step_response": "formula for users, published check",
    "schema/measuring/compensation.py: compute_overshoot_percent": "formula with a check",
    "schema/model.py: model_config": "read by pydantic",
    "schema/quantities/fields.py: Inductance": "one of the field types, complete by SI unit",
    "schema/quantities/fields.py: Power": "one of the field types, complete by SI unit",
    "schema/waveforms/vectors.py: list_vector_points": "formula for users, with a published check",
    "schema/waveforms/vectors.py: measure_vectors": "formula for users, with a published check",
}


def list_names_in_templates() -> set[str]:
    """Return every word inside the {{ }} and {% %} of the templates."""
    return {
        word
        for template in (ROOT / "plugins").rglob("*.html")
        for expression in re.findall(r"{[{%](.*?)[%}]}", template.read_text(encoding="utf-8"), re.S)
        for word in re.findall(r"\w+", expression)
    }


def find_unused() -> Iterator[tuple[str, Item]]:
    finder = Vulture(ignore_decorators=REGISTERING_DECORATORS)
    finder.scavenge([str(ROOT / folder) for folder in SOURCES])
    finder.used_names |= (
        list_names_in_templates()
    )  # as `ignore_names` they would be patterns, and slow
    for item in finder.get_unused_code(min_confidence=LEAST_CONFIDENCE_PERCENT):
        path = Path(item.filename).resolve().relative_to(ROOT).as_posix()
        if not (item.typ == "class" and path.startswith(REGISTERED_CLASSES)):
            yield f"{path}: {item.name}", item


@pytest.fixture(scope="module")
def unused() -> dict[str, Item]:
    return dict(find_unused())


def test_no_code_is_unused_without_a_reason(unused: dict[str, Item]) -> None:
    surprises = [item.get_report() for name, item in unused.items() if name not in EXCEPTIONS]
    assert surprises == []


def test_every_exception_is_still_needed(unused: dict[str, Item]) -> None:
    assert [name for name in EXCEPTIONS if name not in unused] == []
