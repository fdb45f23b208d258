"""Every rule is in the book, and its two examples do what they are there for."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.loaders.errors import ChipFileError
from pinfolio.schema.advice import ADVICE, advise
from pinfolio.schema.rule_book import EXAMPLE, RULE_BOOK, BookRule, book_rule, rule_name
from pinfolio.schema.rules import RULES

ACROSS_FILES = "symbol-unusual"  # needs other chips; tested where they are read
ALONE = [rule for rule in RULE_BOOK if rule.name != ACROSS_FILES]


def with_fragment(fragment: str) -> bytes:
    """The example with the fragment's keys in place of its own, pins by their numbers."""
    whole: dict[str, Any] = read_yaml(EXAMPLE.encode(), "example").data
    new: dict[str, Any] = read_yaml(fragment.encode(), "fragment").data
    pins = {pin["number"]: pin for pin in [*whole["pins"], *new.pop("pins", [])]}
    document = {**whole, **new, "pins": list(pins.values())}
    return bytes(yaml.safe_dump(document, sort_keys=False, allow_unicode=True).encode())


def broken(fragment: str) -> set[str]:
    """Names of the rules that the example with the fragment in it breaks."""
    try:
        chip = read_chip(with_fragment(fragment), "fragment")
    except ChipFileError as refused:
        return {rule_name(fault.rule, fault.found) for fault in refused.faults}
    return {finding.rule for finding in advise(chip)}


def test_the_example_keeps_every_rule_and_needs_no_advice() -> None:
    assert advise(read_chip(EXAMPLE.encode(), "example")) == ()


@pytest.mark.parametrize("rule", ALONE, ids=lambda rule: rule.name)
def test_the_bad_example_breaks_its_rule_and_no_other(rule: BookRule) -> None:
    if rule.name == "file-unreadable":  # never gets as far as keys
        with pytest.raises(ChipFileError) as refused:
            read_chip(rule.bad.encode(), "bad")
        assert {rule_name(fault.rule) for fault in refused.value.faults} == {rule.name}
    else:
        assert broken(rule.bad) == {rule.name}


@pytest.mark.parametrize("rule", RULE_BOOK, ids=lambda rule: rule.name)
def test_the_good_example_breaks_none(rule: BookRule) -> None:
    assert broken(rule.good) == set()


def test_every_rule_is_in_the_book_once_under_a_stable_name() -> None:
    names = [rule.name for rule in RULE_BOOK]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch("[a-z]+(-[a-z]+)*", name) for name in names)
    faults = {rule.__name__.replace("_", "-") for rule in RULES}
    advice = {rule.__name__.replace("_", "-") for rule in ADVICE}
    assert faults <= {rule.name for rule in RULE_BOOK if rule.blocks}
    assert {rule.name for rule in RULE_BOOK if not rule.blocks} == advice | {ACROSS_FILES}


def test_a_rule_is_found_by_its_name_and_says_why_in_a_sentence() -> None:
    assert book_rule("dc-possible").blocks
    assert all(rule.why[0].isupper() and rule.why.endswith(".") for rule in RULE_BOOK)
    with pytest.raises(KeyError):
        book_rule("no-such-rule")


@pytest.mark.parametrize(
    ("fault_rule", "found", "name"),
    [
        ("missing", "no 'part'", "key-missing"),
        ("whole_number", "'four'", "value-unreadable"),
        ("literal_error", "a blank", "blank"),
        ("symbols-once", "symbol IN", "symbols-once"),
    ],
)
def test_what_the_reader_finds_has_a_name_in_the_book(
    fault_rule: str, found: str, name: str
) -> None:
    assert rule_name(fault_rule, found) == name
