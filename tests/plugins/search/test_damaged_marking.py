"""Markings that are scorched, ground or half gone: the right part among the first, with reasons."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.chip_search import Only
from pinfolio.plugins.search.damaged_marking import guess_chips
from pinfolio.plugins.search.find import find
from pinfolio.plugins.search.misreading import explain_misreading, load_look_alikes
from pinfolio.plugins.search.typed_marking import TypedMarking, interpret_marking
from pinfolio.schema import Chip

from ...demo_chips import DEMO
from .conftest import make_chip

PARTS = [chip.part for chip in DEMO.values()]


@pytest.mark.parametrize(
    ("typed", "part", "reason"),
    [
        ("TQZ5?52", "TQZ5752", "7 could not be read"),
        ("QZ5?5Z", "TQZ5752", "2 read as Z"),
        ("QZ5?1O", "TQZ5710", "0 read as O"),
        ("TOZ5752", "TQZ5752", "Q read as O"),
        ("0GX7342", "OGX7342", "O read as 0"),
        ("KYE 6B48", "KYE6848", "8 read as B"),
        ("MDQ372", "MDQ3724", "suffix missing"),
        ("Z5752", "TQZ5752", "prefix missing"),
        ("KYE6B48 9732", "KYE6848", "9732 left aside: date or lot code"),
    ],
)
def test_the_right_part_is_among_the_first_five_with_the_reason(
    demo: Folio, typed: str, part: str, reason: str
) -> None:
    found = {guess.chip.part: guess for guess in guess_chips(demo, typed, 5)}
    assert part in found
    assert reason in found[part].reasons


def test_probabilities_are_honest_shares(demo: Folio) -> None:
    """Less than one in all: it may be a part that the folio does not hold."""
    shares = [guess.probability for guess in guess_chips(demo, "KYE?6?")]
    assert shares == sorted(shares, reverse=True)
    assert 0 < sum(shares) < 1


def test_a_doubtful_marking_gives_several_parts(demo: Folio) -> None:
    parts = [guess.chip.part for guess in guess_chips(demo, "KYE????")]
    assert {"KYE1916", "KYE2620", "KYE6848"} <= set(parts)


def test_find_uses_it_when_nothing_fits_as_printed(demo: Folio) -> None:
    found = find(demo, "T0Z57S2")
    assert found.chips[0].chip.part == "TQZ5752"
    assert "5 read as S" in found.chips[0].match


def test_a_marking_as_printed_needs_no_guess(demo: Folio) -> None:
    assert find(demo, "TQZ5752").chips[0].match == "part number"


def _damage(part: str, chance: random.Random) -> str:
    """One thing that happens to a marking: a look-alike, an unread sign, a swap, a lost end."""
    at = chance.randrange(len(part))
    ways = [
        part[:at] + "?" + part[at + 1 :],
        part[:-1],
        part[1:],
        part[:at] + part[at + 1 : at + 2] + part[at] + part[at + 2 :],
    ]
    alike = [pair[1] for pair in load_look_alikes() if pair[0] == part[at]]
    ways += [part[:at] + chance.choice(alike) + part[at + 1 :]] if alike else []
    return chance.choice(ways)


def test_recall_of_the_right_part_among_ten(demo: Folio) -> None:
    chance = random.Random(1956)
    asked = [(part, _damage(part, chance)) for part in PARTS for _ in range(30)]
    found = [part in {g.chip.part for g in guess_chips(demo, typed, 10)} for part, typed in asked]
    assert sum(found) / len(found) >= 0.97


@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.text(max_size=40))
def test_whatever_is_typed_is_answered(demo: Folio, typed: str) -> None:
    for guess in guess_chips(demo, typed):
        assert guess.chip.part in PARTS
        assert guess.reasons
    assert len(TypedMarking(typed).key) <= 24


@pytest.fixture(scope="module")
def with_a_stranger(tmp_path_factory: pytest.TempPathFactory, jungle: Chip) -> Iterator[Folio]:
    """The demonstration and a QZ5710, with parts about it that differ by a sign."""
    chips = [*DEMO.values()]
    parts = ("QZ5710", "QZ5718", "QZ5910", "QZX5710", "QJ5710", "OZ5712")
    chips += [jungle.model_copy(update={"part": part, "markings": ()}) for part in parts]
    path = tmp_path_factory.mktemp("folio") / "stranger.db"
    build_from_chips(chips, path)
    with open_folio(path) as folio:
        yield folio


def test_a_stranger_reads_a_worn_marking_off_a_chip(with_a_stranger: Folio) -> None:
    first_five = find(with_a_stranger, "QZ5?1O").chips[:5]
    reasons = {match.chip.part: match.match for match in first_five}
    assert reasons["QZ5710"] == "7 could not be read, 0 read as O"


def test_what_else_can_be_seen_makes_it_surer(demo: Folio) -> None:
    open_question = guess_chips(demo, "KYE????")
    settled = guess_chips(demo, "KYE????", only=Only(package="QFP-48"))
    assert len(open_question) == 4
    assert [guess.chip.part for guess in settled] == ["KYE6848"]
    assert settled[0].probability > 2 * open_question[0].probability


@pytest.mark.parametrize("package", ["SDIP-52", "sdip52", "SDIP 52", "sdip"])
def test_a_package_however_it_is_typed(demo: Folio, package: str) -> None:
    (match,) = find(demo, "Q?57", only=Only(package=package)).chips
    assert match.chip.part == "TQZ5752"


def test_what_on_the_chip_settles_it_is_said(demo: Folio) -> None:
    found = find(demo, "KYE????")
    pins, supply = found.distinguishing_marks
    assert str(pins) == (
        "How many pins? 16 pins: KYE1916; 20 pins: KYE2620; 28 pins: KYE4728; 48 pins: KYE6848."
    )
    assert pins.bits == pytest.approx(math.log2(4), abs=1e-9)  # Shannon (1948): four as likely
    assert str(supply).startswith("Is pin ")
    (one,) = find(demo, "KYE????", only=Only(pins=20)).chips
    assert one.chip.part == "KYE2620"


def test_a_supply_pin_settles_it(demo: Folio) -> None:
    mark = find(demo, "KYE????").distinguishing_marks[1]
    fed = find(demo, "KYE????", only=Only(supply=int(mark.pin))).chips
    assert tuple(match.chip.part for match in fed) == dict(mark.parts_by_value)["yes"]


@pytest.mark.parametrize(
    ("typed", "left"),
    [
        ("KYE6848 9732", "KYE6848"),
        ("KYE6848\n9732 L4K17", "KYE6848"),
        ("KYE6848 199732", "KYE6848"),
        ("kye 6848", "kye 6848"),
        ("KYE6848 9799", "KYE6848 9799"),  # there is no week 99 (ISO 8601)
    ],
)
def test_date_and_lot_codes_are_set_aside_and_said(typed: str, left: str) -> None:
    typed_marking = interpret_marking(typed)[-1]
    assert typed_marking.text == left
    assert bool(typed_marking.reasons) == (left != typed)


def test_a_date_code_behind_a_whole_part_number(demo: Folio) -> None:
    (match,) = find(demo, "KYE6848 9732").chips
    assert match.match == "part number, 9732 left aside: date or lot code"


def test_probabilities_are_about_as_often_right(with_a_stranger: Folio) -> None:
    """Of markings with one fault the first guess is right about as often as it says, or oftener:
    it is modest, since real markings have worse damage than these."""
    chance = random.Random(1948)
    parts = [chip.part for chip in with_a_stranger.parts()]
    said, right = 0.0, 0
    for part in parts * 20:
        first = guess_chips(with_a_stranger, _damage(part, chance))[:1]
        said += sum(guess.probability for guess in first)
        right += sum(guess.chip.part == part for guess in first)
    assert said - 0.05 * 20 * len(parts) <= right <= said + 0.25 * 20 * len(parts)


def test_a_marking_up_to_80_hundredths_dearer_than_the_nearest_is_offered(tmp_path: Path) -> None:
    """Fifty times less likely is the end: e^(-0.05 x 80) is 1/55."""
    # Three unread characters cost 8 each; 7 for T and 1 for 7 cost 40 each, 1 for L 30, and each
    # character too many at the end 25.
    cost_of = {"QZ571ABC": 24, "QZ5T7ABC": 24 + 80, "QZ57L": 30 + 75}
    assert {key: explain_misreading("QZ571???", key).cost for key in cost_of} == cost_of
    path = tmp_path / "folio.db"
    build_from_chips([make_chip(part) for part in cost_of], path)
    with open_folio(path) as folio:
        guesses = guess_chips(folio, "QZ571???")
    assert [guess.chip.part for guess in guesses] == ["QZ571ABC", "QZ5T7ABC"]
    near, far = (guess.probability for guess in guesses)
    assert near / far == pytest.approx(math.exp(0.05 * 80))


def test_three_markings_are_looked_up_for_each_chip_wanted(tmp_path: Path) -> None:
    """A part may bear several similar markings; those beyond still take their share."""
    chips = [
        make_chip(f"QZ57{tens}0").model_copy(
            update={"markings": tuple(f"QZ57{tens}{ones}" for ones in range(1, 6))}
        )
        for tens in range(10)
    ]
    chips += [make_chip(f"QZ57A{ones}") for ones in range(10)]
    path = tmp_path / "folio.db"
    build_from_chips(chips, path)
    with open_folio(path) as folio:
        guesses = guess_chips(folio, "QZ57??", most=20)
    # Sixty of the seventy markings, all as near, are those of the first ten parts.
    assert [guess.chip.part for guess in guesses] == [f"QZ57{tens}0" for tens in range(10)]
    weight, unknown = math.exp(-0.05 * 16), math.exp(-0.05 * 120)
    assert guesses[0].probability == pytest.approx(weight / (20 * weight + unknown))
