"""Every JSON document has a strict schema, with each key and unit in words.

The golden documents are held against the schemas in ``tests/golden/test_schemas.py``; here are
those without a golden file.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import click
import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.loaders import Folio
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.cards.chip_sheet import build_chip_sheet
from pinfolio.plugins.documents.published_schemas import (
    UnknownDocument,
    list_document_names,
    load_document_schema,
)
from pinfolio.plugins.terminal.cli import main
from pinfolio.plugins.web.pages import ADDRESSES

from ...demo_chips import DEMO
from ...published_documents import list_departures

Run = Callable[..., Result]

SCHEMAS: Final = {name: load_document_schema(name) for name in list_document_names()}
PRINTED_WITHOUT_GOLDEN_FILE: Final = {
    "faultfind TQZ5752 --symptom {no colour} --reading {16 dc=4.8V} --reading {rail-8v dc=8V}"
    " --reading {17 to 18 ohms=12k} --reading {C734: good} --reading {17 freq=489kHz}": "faultfind",
    "faultfind MDQ3724 --symptom {no green} --reading {C302: open}": "faultfind",
    "faultfind KYE2620 --if C501": "faultfind-if",
    "faultfind KYE2620 --symptoms": "faultfind-symptoms",
    "substitute TQZ5752 C712 --with 2.2u": "substitute",
    "find Q?57": "find",
}
SERVED_WITHOUT_GOLDEN_FILE: Final = {
    "/chip/TQZ5752/fault-finding.json?symptom=no+colour": "faultfind",
    "/chip/TQZ5752/fault-finding.json?if=C712": "faultfind-if",
    "/chip/TQZ5752/fault-finding.json?symptom=zzzz": "error",
    "/chip/TQZ5752/13/check.json?dc=abc": "error",
    "/compare.json": "error",
    "/nothing.json": "error",
}
_STRICT: Final = ("additionalProperties", "unevaluatedProperties")
_MEASURED: Final = re.compile(
    r"\((V|A|s|Hz|Ω|F|%|degrees|minutes|dBV)[ ,)]|'unit'|the unit of|base unit|0 to 1"
    r"|without a unit|Number of"
)
"""A unit, or the statement that there is none."""


def list_commands_with_json() -> Iterator[str]:
    """Yield the words of every command, and command of a command, that has ``--json``."""

    def walk(command: click.Command, words: str) -> Iterator[str]:
        context = click.Context(command)
        if any("--json" in option.opts for option in command.params):
            yield words
        if isinstance(command, click.Group):
            for name in command.list_commands(context):
                inner = command.get_command(context, name)
                assert inner is not None
                yield from walk(inner, f"{words} {name}")

    yield from walk(main, "pinfolio")


def walk_schemas(node: Any, place: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every schema inside one, with its place."""
    if not isinstance(node, dict):
        return
    yield place, node
    for key in ("properties", "$defs"):
        for name, inner in node.get(key, {}).items():
            yield from walk_schemas(inner, f"{place}.{name}")
    yield from walk_schemas(node.get("items"), f"{place}[]")
    yield from walk_schemas(node.get("additionalProperties"), f"{place}.*")
    for inner in node.get("anyOf", ()):
        yield from walk_schemas(inner, f"{place}|")


@pytest.mark.parametrize("words", [*list_commands_with_json()])
def test_the_document_of_every_command_has_a_schema(words: str) -> None:
    descriptions = [schema["description"] for schema in SCHEMAS.values()]
    assert [text for text in descriptions if re.search(rf"'{words}( [A-Z]+)*( --|')", text)]


def test_the_document_of_every_page_has_a_schema() -> None:
    texts = [schema["description"] for schema in SCHEMAS.values()]
    served = {path for text in texts for path in re.findall(r"served at (/\S+\.json)", text)}
    addresses = [path for paths in ADDRESSES.values() for path in paths if r"\.json" in path]
    unserved = [path for path in addresses if not any(re.match(path, one) for one in served)]
    assert len(addresses) == len(served)
    assert unserved == []


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_takes_no_unknown_key_and_says_the_meaning_of_each(name: str) -> None:
    shared = [f"{name}.{each}" for each in SCHEMAS[name].get("$defs", {})]
    for place, schema in walk_schemas(SCHEMAS[name], name):
        # What is shared may be open: it is closed where it is used.
        if "properties" in schema and place not in shared:
            assert any(schema.get(key) is False for key in _STRICT), place
            assert "required" in schema, place
        for key, inner in schema.get("properties", {}).items():
            assert inner.get("description"), f"{place}.{key}"
            if "number" in inner.get("type", ()):
                assert _MEASURED.search(inner["description"]), f"{place}.{key}"


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_is_complete_in_itself(name: str) -> None:
    schema = SCHEMAS[name]
    assert schema["$id"] == f"urn:pinfolio:document:{name}:1"
    held = {inner["$id"] for inner in schema.get("$defs", {}).values()}
    assert set(re.findall(r'"\$ref": "([^"]+)"', json.dumps(schema))) == held


@pytest.mark.parametrize("words", PRINTED_WITHOUT_GOLDEN_FILE)
def test_a_printed_document_is_as_published(words: str, run: Run) -> None:
    pieces = words.replace("{", "}").split("}")
    arguments = [
        word for n, piece in enumerate(pieces) for word in ([piece] if n % 2 else piece.split())
    ]
    document = json.loads(run(*arguments, "--json").stdout)
    assert list_departures(PRINTED_WITHOUT_GOLDEN_FILE[words], document) == []


def test_the_plan_of_an_import_is_as_published(run: Run, shop: Shop, tmp_path: Path) -> None:
    table = tmp_path / "repairs.csv"
    rows = ("13;no signal;3,05", "13;no signal;3,05", "13;no signal;3,10", "99;no signal;3")
    table.write_text("IC;Pin;State;DC\n" + "".join(f"TQZ5752;{row}\n" for row in rows))
    document = json.loads(run("note", "import", table, "--dry-run", "--json").stdout)
    assert document["notes"]
    assert document["rejects"]
    assert document["repeats"]
    assert list_departures("note-import", document) == []


def test_the_sheet_of_every_demo_chip_is_as_published(demo: Folio) -> None:
    for chip in DEMO.values():
        document = build_chip_sheet(chip, notes=demo.notes(chip.part)).document()
        assert list_departures("chip", json.loads(json.dumps(document))) == []


@pytest.mark.parametrize("address", SERVED_WITHOUT_GOLDEN_FILE)
async def test_a_served_document_is_as_published(address: str, site: Datasette) -> None:
    answer = await site.client.get(address, follow_redirects=True)
    assert list_departures(SERVED_WITHOUT_GOLDEN_FILE[address], answer.json()) == []


def test_another_key_and_a_missing_one_are_refused(run: Run) -> None:
    """Also in what is shared with other documents, and in lists."""
    document = json.loads(run("check", "TQZ5752", "13", "--dc", "3.1V", "--json").stdout)
    assert list_departures("check", document) == []
    assert list_departures("check", document | {"colour": "red"})
    assert list_departures("check", {k: v for k, v in document.items() if k != "verdict"})
    del document["results"][0]["reading"]["unit"]
    assert list_departures("check", document) == [
        "$.results[0].reading: 'unit' is a required property"
    ]


def test_an_unknown_name_is_refused_with_the_nearest() -> None:
    with pytest.raises(UnknownDocument, match=r"no document 'fnid'; did you mean 'find'\?"):
        load_document_schema("fnid")
    with pytest.raises(UnknownDocument, match="there are capture, check, "):
        load_document_schema("../../secret")


def test_the_command_prints_a_schema_and_lists_the_names(run: Run) -> None:
    assert json.loads(run("schema", "--of", "find").stdout) == SCHEMAS["find"]
    listed = run("schema", "--of").stdout.splitlines()
    assert [line.split()[0] for line in listed] == list(SCHEMAS)
    refused = run("schema", "--of", "fnid")
    assert refused.exit_code == 1
    assert "did you mean 'find'?" in refused.stderr
