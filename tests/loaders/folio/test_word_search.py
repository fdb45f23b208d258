"""Words in a folio: common ones are cut before they are ranked, and the answer is still right."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product

import pytest
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio import word_search as folio_words
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.chip_search import Only
from pinfolio.loaders.words.full_text_query import quote_beginning, quote_phrase
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]

LINE_OUTPUT = [["line"], ["output"]]
KINDS = ("jungle", "comb filter", "sound IF")


@pytest.fixture(scope="module")
def folio(tmp_path_factory: pytest.TempPathFactory, invented_chip: ChipMaker) -> Iterator[Folio]:
    """Sixty chips alike but for their kind and maker: every word is on a third of them or more."""
    path = tmp_path_factory.mktemp("folio") / "sixty.db"
    chips = [
        invented_chip(f"QZ{100 + 3 * number + at}", kind=kind, maker=f"Maker {number}")
        for number, (at, kind) in product(range(20), enumerate(KINDS))
    ]
    build_from_chips(chips, path)
    with open_folio(path) as opened:
        yield opened


@pytest.fixture(params=["all ranked", "cut", "cut, chips one by one"])
def bounds(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """The same questions with no bound reached, and with bounds that every word reaches."""
    if request.param != "all ranked":
        monkeypatch.setattr(folio_words, "_MOST_RANKED", 25)
        asked = 30 if request.param == "cut, chips one by one" else 5
        monkeypatch.setattr(folio_words, "_MOST_CHIPS_ASKED", asked)
    return str(request.param)


def test_common_words_give_as_many_pins_and_each_says_them(folio: Folio, bounds: str) -> None:
    found = folio.search_pins(LINE_OUTPUT, limit=20)
    assert len(found) == len({pin.part for pin in found}) == 20
    assert {pin.symbol for pin in found} == {"H OUT"}


@pytest.mark.parametrize("kind", KINDS)
def test_common_words_kept_to_a_kind(folio: Folio, bounds: str, kind: str) -> None:
    found = folio.search_pins(LINE_OUTPUT, limit=50, only=Only(kind=kind.upper()))
    wanted = {chip.part for chip in folio.parts() if chip.kind == kind}
    assert {pin.part for pin in found} == wanted


def test_common_words_kept_to_a_role(folio: Folio, bounds: str) -> None:
    found = folio.search_pins([["line"]], limit=50, only=Only(role="Output"))
    assert {pin.role for pin in found} == {"output"}
    assert not folio.search_pins([["line"]], only=Only(role="bus"))
    assert not folio.search_pins([["line"]], only=Only(role="?!"))


def test_common_words_on_some_parts(folio: Folio, bounds: str) -> None:
    found = folio.search_pins(LINE_OUTPUT, parts=["QZ101", "QZ140", "NONE"])
    assert {pin.part for pin in found} == {"QZ101", "QZ140"}


def test_a_rare_word_is_found_beside_common_ones(folio: Folio, bounds: str) -> None:
    (chip,) = folio.search_chips([["jungle"], ["maker"], ["7"]])
    assert chip.part == "QZ121"


def test_a_common_beginning_goes_on_to_its_commonest_words(folio: Folio, bounds: str) -> None:
    assert {pin.symbol for pin in folio.search_pins([["outp"], ["line"]])} == {"H OUT"}
    assert folio.search_pins([[quote_beginning("o")], ["line"]])
    assert not folio.search_pins([["o"], ["line"]])


def test_a_phrase_among_common_words(folio: Folio, bounds: str) -> None:
    assert folio.search_pins([[quote_phrase("composite video")]])
    assert not folio.search_pins([[quote_phrase("video composite")]])


def test_stages_and_functions_are_told_once_with_their_chips(folio: Folio) -> None:
    (stage,) = folio.search_blocks([["separator"]])
    assert (stage.text, stage.chips, len(stage.first)) == ("sync separator", 60, 3)
    assert str(stage).endswith(" and 57 more")
    (function,) = folio.functions([["killer"]], only=Only(kind="jungle"))
    assert function.chips == 20


def test_what_answers_can_be_kept_to_is_counted_when_the_folio_is_built(folio: Folio) -> None:
    facets = folio.facets()
    assert dict(facets["kind"]) == dict.fromkeys(KINDS, 20)
    assert sum(count for _, count in facets["role"]) == folio.info.pins
    assert [name for name, _ in facets["package"]] == [folio.parts()[0].package]


def test_a_kind_is_looked_up_in_an_index_whatever_its_case(folio: Folio) -> None:
    where, values = Only(kind="Jungle").make_condition()
    plan = folio._query_rows(f"EXPLAIN QUERY PLAN SELECT part FROM chip WHERE {where}", *values)
    assert "chip_kind" in plan[0][3]
