"""One box: any marking, any words, one ranked answer that says why."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pinfolio.loaders import Folio, UnknownPart, open_folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.chip_search import Only
from pinfolio.plugins.search.answer import SearchAnswer
from pinfolio.plugins.search.find import find
from pinfolio.plugins.search.marking_lookup import find_chip, find_marking, find_printed
from pinfolio.schema import Chip


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("TQZ5752", "part number"),
        ("tqz-5752", "part number"),
        (" tqz 57 52 ", "part number"),
        ("TQZ5752N", "marking TQZ5752N"),
        ("TQZ575", "TQZ5752 begins so"),
        ("5752", "part of TQZ5752"),
        ("TQZ5752X9", "suffix X9 left aside"),
    ],
)
def test_a_marking_however_it_is_typed(demo: Folio, typed: str, why: str) -> None:
    first = find_marking(demo, typed)[0]
    assert (first.chip.part, first.match) == ("TQZ5752", why)


def test_a_surer_reason_goes_before_a_weaker_one(demo: Folio) -> None:
    scores = [find_marking(demo, typed)[0].score for typed in ("TQZ5752", "TQZ5752N", "TQZ575")]
    assert scores == sorted(scores, reverse=True)
    assert scores[0] == 1.0


def test_a_piece_that_only_one_chip_can_bear_names_the_chip(demo: Folio) -> None:
    assert find_chip(demo, "5752").part == "TQZ5752"
    with pytest.raises(UnknownPart) as unknown:
        find_chip(demo, "TQZ5725")
    assert "TQZ5752" in unknown.value.nearest


def test_words_find_the_pin_that_does_it(demo: Folio) -> None:
    found = find(demo, "sandcastle output")
    assert ("TQZ5752", 22) in {(m.pin.part, m.pin.number) for m in found.pins}


@pytest.mark.parametrize("typed", ["colour killer", "color killer", "ACK"])
def test_an_abbreviation_and_either_spelling_find_the_same_pin(demo: Folio, typed: str) -> None:
    pins = {(m.pin.part, m.pin.number) for m in find(demo, typed, 50).pins}
    assert ("TQZ5752", 48) in pins


def test_a_marking_and_words_together_ask_one_chip(demo: Folio) -> None:
    found = find(demo, "5752 sync input pin")
    assert {m.pin.part for m in found.pins} == {"TQZ5752"}
    assert "SYNC IN" in {m.pin.symbol for m in found.pins}


def test_a_chip_meant_twice_is_named_once(demo: Folio) -> None:
    found = find(demo, "5752 TQZ5752 sync input 5752")
    assert [match.chip.part for match in found.chips] == ["TQZ5752"]
    assert found.pins == find(demo, "5752 sync input").pins


@pytest.mark.parametrize(
    ("typed", "once"),
    [
        ("sync Sync input SYNC", "input sync"),
        ("line output " * 30, "line output"),
        ('"burst key" ' * 20, '"burst key"'),
    ],
)
def test_a_word_said_again_asks_nothing_more(demo: Folio, typed: str, once: str) -> None:
    repeated, plain = find(demo, typed), find(demo, once)
    assert repeated.pins == plain.pins != ()
    assert repeated.chips == plain.chips


def test_what_is_not_there_offers_the_nearest(demo: Folio) -> None:
    found = find(demo, "TQZ58888")
    assert not found
    assert "TQZ5752" in found.nearest[:2]


def test_the_document_keeps_its_contract(demo: Folio) -> None:
    document = find(demo, "5752 sync").document()
    groups = {"chips", "pins", "functions", "blocks", "notes"}
    assert set(document) == {"query", "groups", "settles", "nearest"} | groups
    chip = {"part", "maker", "kind", "package", "match", "score", "probability"}
    assert set(document["chips"][0]) == chip
    pin = {"part", "pin", "symbol", "function", "role", "match", "score"}
    assert set(document["pins"][0]) == pin


@pytest.mark.parametrize(
    "typed",
    ['"', "'", "*", "NEAR(", "a NEAR/2 b", "-sync", "sync*", "col:sync", "(", "^x", "AND", "\x00"],
)
def test_full_text_syntax_is_only_text(demo: Folio, typed: str) -> None:
    assert isinstance(find(demo, typed), SearchAnswer)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.text(max_size=60))
def test_nothing_typed_is_an_error(demo: Folio, typed: str) -> None:
    found = find(demo, typed)
    assert found.query == typed
    assert len(found.chips) <= 20
    assert len({match.chip.part for match in found.chips}) == len(found.chips)


@pytest.mark.parametrize(
    ("only", "parts"),
    [
        (Only(package="SDIP-52"), {"TQZ5752"}),
        (Only(package="qfp"), {"KYE6848"}),
        (Only(kind="jungle", system="NTSC-M"), {"OGX7342"}),
        (Only(kind="toaster"), set()),
    ],
)
def test_kept_to_what_else_can_be_seen(demo: Folio, only: Only, parts: set[str]) -> None:
    found = find(demo, "sync", only=only)
    assert {m.pin.part for m in found.pins} | {m.chip.part for m in found.chips} <= parts
    assert bool(found) == bool(parts)


def test_kept_to_pins_of_one_role(demo: Folio) -> None:
    assert {m.pin.role for m in find(demo, "sync", only=Only(role="input")).pins} == {"input"}


@pytest.mark.parametrize(
    ("typed", "phrase"),
    [('"burst key"', True), ('"key burst"', False), ("key burst", True), ('burst "key', True)],
)
def test_words_in_quotes_stand_side_by_side(demo: Folio, typed: str, phrase: bool) -> None:
    found = {(m.pin.part, m.pin.number) for m in find(demo, typed).pins}
    assert (("OGX7342", 27) in found) == phrase


def test_a_phrase_is_taken_as_it_is_without_other_wordings(demo: Folio) -> None:
    assert find(demo, "color killer").pins
    assert not find(demo, '"color killer"').pins


def test_one_answer_in_groups_the_nearest_first(demo: Folio) -> None:
    found = find(demo, "sync separator")
    assert found.groups == ("blocks", "pins", "functions", "notes", "chips")
    assert found.blocks[0].shared.text == "sync separator"
    assert "TQZ5752" in {note.note.chip for note in found.notes}
    assert all(match.shared.chips > 1 for match in found.functions)


def test_every_group_is_there_for_json_and_in_its_order(demo: Folio) -> None:
    document = find(demo, "sync separator").document()
    assert document["groups"][0] == "blocks"
    assert document["blocks"][0]["chips"] == 4
    scores = [max(one["score"] for one in document[name]) for name in document["groups"]]
    assert scores == sorted(scores, reverse=True)


@pytest.mark.parametrize("typed", ["burst k", "sandc", "line osc"])
def test_an_unfinished_word_goes_on_while_one_types(demo: Folio, typed: str) -> None:
    assert find(demo, typed, typing=True).pins


def test_a_short_word_that_is_finished_does_not_go_on(demo: Folio) -> None:
    """``IF`` is not the beginning of another word, unless it is still being typed."""
    finished = {m.pin.symbol for m in find(demo, "burst k").pins}
    assert "BURST KEY" not in finished


def test_a_chip_kept_to_a_supply_pin(demo: Folio) -> None:
    fed = [pin.number for pin in demo.chip("TQZ5752").pins if pin.role == "supply"]
    found = find(demo, "sync", only=Only(supply=fed[0], kind="jungle"))
    assert "TQZ5752" in {m.pin.part for m in found.pins}


HOSTILE = st.one_of(
    st.text(max_size=320),
    st.text("\"“”*?()^:-+{}'\\\0\n 0Q5NEARANDORT", max_size=60),
    st.sampled_from(["\ud800", "?" * 400, '"' * 301, "QZ5?1O " * 60, "\u202e", "x" * 10_000]),
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(HOSTILE, st.booleans(), st.builds(Only, *[st.none() | HOSTILE] * 4, st.none() | st.just(7)))
def test_no_question_is_an_error_whatever_it_is_kept_to(
    demo: Folio, typed: str, typing: bool, only: Only
) -> None:
    document = find(demo, typed, only=only, typing=typing).document()
    assert set(document["groups"]) <= set(document)


def test_two_thirds_of_a_marking_answer_without_words(jungle: Chip, tmp_path: Path) -> None:
    """``5752`` is four of the six characters of QZ5752; words only help with a smaller piece."""
    first, *others = jungle.pins
    worded = first.model_copy(update={"function": "trimmed by 5752 and 575 counts"})
    fields = {"part": "QZ5752", "markings": (), "pins": (worded, *others)}
    build_from_chips([jungle.model_copy(update=fields)], tmp_path / "folio.db")
    with open_folio(tmp_path / "folio.db") as folio:
        assert find(folio, "5752").groups == ("chips",)
        assert "pins" in find(folio, "575").groups


def test_a_suffix_has_at_most_three_characters(demo: Folio) -> None:
    """Common practice: a letter or two for the package, a digit or letter for tape."""
    assert find_marking(demo, "TQZ5752ABC")[0].match == "suffix ABC left aside"
    assert not find_printed(demo, "TQZ5752ABCD")


def test_scores_fall_with_the_part_of_the_marking_that_is_missing(demo: Folio) -> None:
    """A prefix scores 0.6 and up to 0.3 more, a fragment 0.3 and up to 0.3 more, by its share."""
    assert find_printed(demo, "TQZ575")[0].score == pytest.approx(0.6 + 0.3 * 6 / 7)
    assert find_printed(demo, "5752")[0].score == pytest.approx(0.3 + 0.3 * 4 / 7)
    assert find_printed(demo, "TQZ5752X")[0].score == pytest.approx(0.85)
    assert find_printed(demo, "TQZ5752X9")[0].score == pytest.approx(0.8)


def test_an_unfinished_last_word_finds_what_it_begins(demo: Folio) -> None:
    assert find(demo, "sandcas", typing=True).pins
    assert find(demo, "output sandcas", typing=True).pins
