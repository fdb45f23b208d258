"""Reading a folio: whole chips by part or marking, and pins by words."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import ChipRow, Folio, UnknownPart, open_folio
from pinfolio.loaders.words.full_text_query import build_match_query
from pinfolio.schema import Chip
from pinfolio.schema.text import part_key

ChipMaker = Callable[..., Chip]
FolioOf = Callable[..., Folio]


@settings(max_examples=40, deadline=None)
@given(chips=st.lists(st.from_type(Chip), max_size=3, unique_by=lambda chip: part_key(chip.part)))
def test_chips_come_back_from_a_folio_as_they_went_in(
    chips: list[Chip], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("came back") / "folio.db"
    info = build_from_chips(chips, path)
    with open_folio(path) as folio:
        assert [folio.chip(chip.part) for chip in chips] == chips
        assert list(folio.chips()) == sorted(chips, key=lambda chip: part_key(chip.part))
        assert folio.info == info


def test_quantities_come_back_as_they_were_written(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    dc = folio_of(invented_chip()).chip("QZ5710").pins[0].expectations[0].dc
    assert str(dc) == "3.1 V ± 10 %"


@pytest.mark.parametrize("typed", ["QZ5710", "qz 5710", "QZ-5710", "QZ5710N", "uqz5710"])
def test_a_chip_is_found_by_part_or_marking_whatever_the_spelling(
    typed: str, folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip("QZ5710"), invented_chip("AB12"))
    assert folio.chip(typed).part == "QZ5710"


def test_a_part_number_goes_before_another_chips_marking(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip("QZ5710", markings=["AB12"]), invented_chip("AB12"))
    assert folio.chip("ab12").part == "AB12"


def test_a_marking_of_two_chips_names_both_and_chooses_neither(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(
        invented_chip("QZ5710", markings=["TV1"]), invented_chip("AB12", markings=["TV1"])
    )
    with pytest.raises(UnknownPart) as unknown:
        folio.chip("TV1")
    assert set(unknown.value.nearest) == {"QZ5710", "AB12"}


def test_an_unknown_part_names_the_nearest(folio_of: FolioOf, invented_chip: ChipMaker) -> None:
    folio = folio_of(*(invented_chip(part) for part in ("QZ5710", "QZ5712", "KM8004")))
    with pytest.raises(UnknownPart, match="no chip 'QZ5701' in this folio") as unknown:
        folio.chip("QZ5701")
    assert unknown.value.nearest[0] == "QZ5710"  # two digits swapped are one slip
    assert "KM8004" not in unknown.value.nearest
    assert folio.nearest_parts("") == ()


def test_the_list_of_parts_is_in_order_and_says_what_they_are(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip("QZ5710"), invented_chip("AB12", invented=False))
    summary = "Small television processor. Invented example."
    assert folio.parts() == [
        ChipRow("AB12", "Tannhof Halbleiter", "jungle", summary, "DIP-8", 8, False),
        ChipRow("QZ5710", "Tannhof Halbleiter", "jungle", summary, "DIP-8", 8, True),
    ]
    assert not folio.info.all_invented


def test_parts_of_a_marking_find_chips(folio_of: FolioOf, invented_chip: ChipMaker) -> None:
    folio = folio_of(invented_chip("QZ5710"), invented_chip("QZ5712"), invented_chip("AB12"))

    def parts(found: list[object]) -> list[tuple[str, str]]:
        return [(hit.chip.part, hit.marking) for hit in found]  # type: ignore[attr-defined]

    assert parts([*folio.find_chips_by_key("QZ5710N")]) == [("QZ5710", "QZ5710N")]
    assert parts([*folio.find_chips_by_prefix("QZ57")]) == [
        ("QZ5710", "QZ5710"),
        ("QZ5712", "QZ5712"),
    ]
    assert parts([*folio.find_chips_by_fragment("12")]) == [("AB12", "AB12"), ("QZ5712", "QZ5712")]
    assert parts([*folio.find_chips_by_fragment("12", limit=1)]) == [("AB12", "AB12")]
    assert folio.find_chips_by_prefix("57") == []


@pytest.mark.parametrize("key", ["", "%", "_", "*", "?", "[A-Z]", "'", "\0", "Ω"])
def test_no_sign_means_anything_in_a_marking(
    key: str, folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip())
    assert folio.find_chips_by_key(key) == []
    assert bool(folio.find_chips_by_fragment(key)) == (key == "")


def test_words_find_pins_by_symbol_function_role_and_stage(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip())
    symbols = {
        "kill": ["KILL"],
        "composite video": ["CVBS IN"],
        "line output": ["H OUT"],  # both words, not side by side
        "separator": ["CVBS IN"],
        "unused": ["NC"],
        "jungle": [],
    }
    for typed, expected in symbols.items():
        found = folio.search_pins([[word] for word in typed.split()])
        assert [pin.symbol for pin in found] == expected, typed


def test_any_wording_of_a_term_will_do_and_its_words_stand_together(
    folio_of: FolioOf, invented_chip: ChipMaker
) -> None:
    folio = folio_of(invented_chip())
    assert [p.symbol for p in folio.search_pins([["burst gate", "burst key"]])] == ["BGP"]
    assert folio.search_pins([["burst video"]]) == []  # one word at one pin, one at another


def test_words_find_chips(folio_of: FolioOf, invented_chip: ChipMaker) -> None:
    folio = folio_of(invented_chip(), invented_chip("AB12", maker="Čeřovice", kind="comb filter"))
    assert [chip.part for chip in folio.search_chips([["cerovice"]])] == ["AB12"]
    assert [chip.part for chip in folio.search_chips([["comb"], ["televis"]])] == ["AB12"]
    assert len(folio.search_chips([["invented"]], limit=1)) == 1


@pytest.fixture(scope="module")
def one_chip(tmp_path_factory: pytest.TempPathFactory, invented_chip: ChipMaker) -> Folio:
    path = tmp_path_factory.mktemp("folio") / "folio.db"
    build_from_chips([invented_chip()], path)
    return open_folio(path)


hostile = st.one_of(
    st.text(max_size=40),
    st.text("\"*()^:-+{}'\0 NEARANDORT", max_size=40),
    st.sampled_from(['"', "NEAR(a b)", "a AND", "-", "symbol:x", "\ud800", "😀", "x" * 10_000]),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.lists(hostile, max_size=3), max_size=5))
def test_nothing_that_is_typed_is_an_error(one_chip: Folio, terms: list[list[str]]) -> None:
    assert len(one_chip.search_pins(terms)) <= 8
    assert len(one_chip.search_chips(terms)) <= 1


@settings(max_examples=100, deadline=None)
@given(hostile)
def test_no_part_number_is_an_error(one_chip: Folio, typed: str) -> None:
    with suppress(UnknownPart):
        assert one_chip.chip(typed).part == "QZ5710"
    assert set(one_chip.nearest_parts(typed)) <= {"QZ5710"}


def test_ten_thousand_words_are_cut_to_sixteen() -> None:
    query = build_match_query([[f"w{n}"] for n in range(10_000)])
    assert query is not None
    assert query.count(" AND ") == 15


def test_a_folio_works_on_anybodys_connection(tmp_path: Path, invented_chip: ChipMaker) -> None:
    """Datasette's connections give rows as sqlite3.Row, and are Datasette's to close."""
    build_from_chips([invented_chip()], tmp_path / "folio.db")
    connection = sqlite3.connect(tmp_path / "folio.db")
    connection.row_factory = sqlite3.Row
    folio = Folio(connection)
    assert folio.chip("QZ5710") == invented_chip()
    assert folio.parts()[0].part == folio.find_chips_by_prefix("QZ")[0].chip.part == "QZ5710"
    assert folio.search_pins([["killer"]])[0].symbol == "KILL"
    assert folio.nearest_parts("QZ571") == ("QZ5710",)
    connection.close()
