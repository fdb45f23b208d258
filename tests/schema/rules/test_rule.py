"""Every rule is in the book; its bad example breaks it, its good example keeps it."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.loaders.errors import ChipFileError
from pinfolio.schema.rules import (
    EXAMPLE_CHIP,
    RULE_BOOK,
    Rule,
    advise,
    find_rule,
    name_of_fault,
)
from pinfolio.schema.rules.rule import reading_rule

# Need other chips, or the circuit solved; tested where that is done.
ELSEWHERE = ("symbol-unusual", "circuit-contradicts", "roll-off-forgotten")
ALONE = [rule for rule in RULE_BOOK if rule.name not in ELSEWHERE]


def insert_fragment(fragment: str) -> bytes:
    """The example with the fragment's keys in place of its own, pins by their numbers."""
    whole: dict[str, Any] = read_yaml(EXAMPLE_CHIP.encode(), "example").data
    new: dict[str, Any] = read_yaml(fragment.encode(), "fragment").data
    pins = {pin["number"]: pin for pin in [*whole["pins"], *new.pop("pins", [])]}
    document = {**whole, **new, "pins": list(pins.values())}
    return bytes(yaml.safe_dump(document, sort_keys=False, allow_unicode=True).encode())


def list_broken(fragment: str) -> set[str]:
    """Names of the rules that the example with the fragment in it breaks."""
    try:
        chip = read_chip(insert_fragment(fragment), "fragment")
    except ChipFileError as refused:
        return {name_of_fault(fault.rule, fault.found) for fault in refused.faults}
    return {finding.rule for finding in advise(chip)}


def test_the_example_keeps_every_rule_and_needs_no_advice() -> None:
    assert advise(read_chip(EXAMPLE_CHIP.encode(), "example")) == (), (
        "the example chip needs advice; correct the check, or EXAMPLE_CHIP in schema/rules"
    )


@pytest.mark.parametrize("rule", ALONE, ids=lambda rule: rule.name)
def test_the_bad_example_breaks_its_rule_and_no_other(rule: Rule) -> None:
    if rule.name == "file-unreadable":  # never gets as far as keys
        with pytest.raises(ChipFileError) as refused:
            read_chip(rule.bad.encode(), "bad")
        assert {name_of_fault(fault.rule) for fault in refused.value.faults} == {rule.name}
    else:
        assert list_broken(rule.bad) == {rule.name}, (
            f"the bad example of {rule.name} must break that rule alone; correct 'bad' or the check"
        )


@pytest.mark.parametrize("rule", RULE_BOOK, ids=lambda rule: rule.name)
def test_the_good_example_breaks_none(rule: Rule) -> None:
    assert list_broken(rule.good) == set(), (
        f"the good example of {rule.name} must break no rule; correct 'good' or the check"
    )


def test_every_rule_has_a_stable_name_and_a_check() -> None:
    """The reader checks the rules of reading; one advice compares chips where they are read."""
    for rule in RULE_BOOK:
        assert re.fullmatch("[a-z]+(-[a-z]+)*", rule.name), (
            f"rule {rule.name!r} must be named in lower-case words joined by hyphens"
        )
    unchecked = {rule.name for rule in RULE_BOOK if rule.check is None and rule.kind != "reading"}
    assert unchecked == {*ELSEWHERE}, "decorate the check with @advice or @chip_rule"


def test_every_chapter_is_in_the_book() -> None:
    for path in Path(sys.modules["pinfolio.schema.rules"].__file__ or "").parent.glob("*.py"):
        has_rules = re.search(
            r"^@?(advice|chip_rule|reading_rule|advice_across_chips)\(",
            path.read_text("utf-8"),
            re.M,
        )
        assert not has_rules or f"pinfolio.schema.rules.{path.stem}" in sys.modules, (
            f"chapter {path.stem} is not in the book; add it to the chapters in "
            "schema/rules/__init__.py"
        )


def test_a_rule_is_registered_once() -> None:
    rule = find_rule("blank")
    entry = dict.fromkeys(("title", "why", "fix", "bad", "good"), "A text.")
    with pytest.raises(TypeError, match="rule 'blank' is registered twice"):
        reading_rule("blank", **entry)  # type: ignore[arg-type]
    assert find_rule("blank") is rule


def test_a_rule_without_an_example_is_refused() -> None:
    entry = {"title": "A title.", "why": "A reason.", "fix": "A fix.", "bad": "part: QZ1"}
    with pytest.raises(TypeError, match="rule 'bare' has no good; give it beside the name"):
        reading_rule("bare", **entry)  # type: ignore[arg-type]


def test_a_rule_is_found_by_its_name_and_says_why_in_a_sentence() -> None:
    assert find_rule("dc-possible").blocks
    for rule in RULE_BOOK:
        for sentence in (rule.title, rule.why, rule.fix):
            assert re.fullmatch(r"[A-Z`].*\.", sentence), (
                f"{rule.name}: '{sentence}' must be a sentence, from a capital to a full stop"
            )
    with pytest.raises(KeyError):
        find_rule("no-such-rule")


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
    assert name_of_fault(fault_rule, found) == name
