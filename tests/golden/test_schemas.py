"""Every golden JSON document is as its published JSON Schema says."""

from __future__ import annotations

import json
from typing import Final

import pytest

from ..published_documents import list_departures
from .golden_file import FOLDER
from .test_terminal import WITH_JSON
from .test_web import DOCUMENTS

_WITH_SUBCOMMANDS: Final = ("note", "shop")
_OF_PAGES: Final = {
    "check_pages": "check",
    "chip_pages": "chip",
    "comparison_pages": "compare",
    "note_pages": "note-search",
    "pin_pages": "pin",
    "search_pages": "find",
}


def name_document(words: str) -> str:
    """Return the name of the document that a command prints."""
    command, *others = words.split()
    if command == "check" and "--readings" in others:
        return "check-readings"
    if command == "check" and "--capture" in others:
        return "capture"
    return f"{command}-{others[0]}" if command in _WITH_SUBCOMMANDS else command


@pytest.mark.parametrize("name", WITH_JSON)
def test_the_document_of_a_command_is_as_published(name: str) -> None:
    document = json.loads((FOLDER / f"terminal/{name}.json").read_text(encoding="utf-8"))
    assert list_departures(name_document(WITH_JSON[name]), document) == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_document_of_a_page_is_as_published(name: str) -> None:
    document = json.loads((FOLDER / f"web/{name}.json").read_text(encoding="utf-8"))["document"]
    kind = "error" if "error" in document else _OF_PAGES[name.partition("/")[0]]
    assert list_departures(kind, document) == []
