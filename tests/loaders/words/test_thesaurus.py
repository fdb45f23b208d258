"""The trade's words for the same thing, and the spellings of both sides of the Atlantic."""

from __future__ import annotations

import doctest
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.folio.folio import Folio
from pinfolio.loaders.words import full_text_query as word_search
from pinfolio.loaders.words import thesaurus
from pinfolio.loaders.words.thesaurus import Thesaurus, load_thesaurus
from pinfolio.schema import Chip


@pytest.mark.parametrize(
    ("typed", "symbol"),
    [
        ("color killer", "KILL"),
        ("Colour Killers", "KILL"),
        ("ACK", "KILL"),
        ("BGP", "BGP"),
        ("burst gate", "BGP"),
        ("CVBS", "CVBS IN"),
        ("composite video", "CVBS IN"),
        ("horizontal output", "H OUT"),
        ("H-out", "H OUT"),
        ("flywheel sync", "AFC"),
        ("earth", "GND"),
    ],
)
def test_what_is_typed_finds_what_the_sheet_says(
    typed: str,
    symbol: str,
    folio_of: Callable[..., Folio],
    invented_chip: Callable[..., Chip],
) -> None:
    found = folio_of(invented_chip()).search_pins(load_thesaurus().expand(typed))
    assert symbol in [pin.symbol for pin in found]


# Common practice; the pairs that the search must know.
@pytest.mark.parametrize(
    "wordings",
    [
        "ACC = automatic colour control",
        "ABL = beam limiter",
        "AFT = automatic fine tuning",
        "AGC = automatic gain control",
        "APC = automatic phase control",
        "fsc = colour subcarrier",
        "SIF = sound IF",
        "VIF = vision IF",
        "sandcastle = SSC",
        "luma = luminance",
        "chroma = chrominance",
        "frame = vertical",
        "field = vertical",
        "line = horizontal",
        "antenna = aerial",
        "tube = valve",
        "deemphasis = de emphasis",
        "retrace = flyback",
        "tint = hue",
        "muting = mute",
        "stand by = standby",
        "gray scale = white balance",
        "programme = program",
        "synchronizing = synchronising",
    ],
)
def test_the_pairs_of_the_trade_stand_for_each_other(wordings: str) -> None:
    one, other = wordings.split(" = ")
    assert other in load_thesaurus().expand(one)[0]
    assert one in load_thesaurus().expand(other)[0]


def test_the_longest_known_phrase_goes_first() -> None:
    words = Thesaurus([["delay line", "DL"], ["line", "horizontal"]], [])
    assert words.expand("delay line driver") == [["delay line", "DL"], ["driver"]]
    assert words.expand("line delay") == [["line", "horizontal"], ["delay"]]


def test_a_group_reaches_one_step_and_no_further() -> None:
    words = Thesaurus([["AFC", "line phase detector"], ["AFC", "AFT"]], [])
    assert words.expand("afc") == [["afc", "line phase detector", "AFT"]]
    assert words.expand("AFT") == [["AFT", "AFC"]]


def test_either_spelling_holds_inside_a_phrase() -> None:
    words = Thesaurus([["colour centre", "CC"]], [["colour", "color"], ["centre", "center"]])
    spelt = ["colour centre", "colour center", "color centre", "color center"]
    assert words.expand("CC") == [["CC", *spelt]]
    assert set(words.expand("Color Center")[0]) == {"Color Center", "CC", *spelt} - {"color center"}


def test_the_file_is_large_enough_and_says_nothing_twice() -> None:
    groups, spellings = map(thesaurus.read_wordings, ("synonyms.txt", "spellings.txt"))
    assert len(groups) >= 60
    for lines in (groups, spellings):
        assert all(len(line) == len({word.lower() for word in line}) > 1 for line in lines)
        assert len(lines) == len({frozenset(line) for line in lines})
    assert all(len(pair) == 2 and " " not in "".join(pair) for pair in spellings)


@given(st.text(max_size=60))
def test_any_text_is_taken_apart_the_same_way_each_time(text: str) -> None:
    terms = load_thesaurus().expand(text)
    assert terms == load_thesaurus().expand(text)
    assert " ".join(term[0] for term in terms) == " ".join(word_search.split_words(text))


def test_the_examples_in_the_code_are_true() -> None:
    for module in (thesaurus, word_search):
        assert doctest.testmod(module).attempted > 0
        assert doctest.testmod(module).failed == 0
