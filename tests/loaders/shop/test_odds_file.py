"""A shop's own odds: merged over ours, faults with their line and the nearest name."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.shop.odds_file import OddsFileError, load_shop_odds, parse_odds

USUAL = {"parts": {"resistor": 2, "capacitor": 2}, "stage dead": 1.5, "none of these": 12}


def test_what_is_written_takes_the_place_of_ours_and_the_rest_stays() -> None:
    own = b"parts:\n  resistor: 7\nnone of these: 5\n"
    assert parse_odds(own, "odds.yaml", USUAL) == {
        "parts": {"resistor": 7.0, "capacitor": 2},
        "stage dead": 1.5,
        "none of these": 5.0,
    }
    assert USUAL["none of these"] == 12


def test_a_shop_without_such_a_file_has_none(tmp_path: Path) -> None:
    assert load_shop_odds(tmp_path, USUAL) is None
    (tmp_path / "odds.yaml").write_text("stage dead: 3\n", encoding="utf-8")
    found = load_shop_odds(tmp_path, USUAL)
    assert found is not None
    assert found["stage dead"] == 3.0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("stage ded: 2\n", "odds.yaml:1:1: 'stage ded': expected one of parts, stage dead"),
        ("stage ded: 2\n", "write 'stage dead'"),
        ("parts:\n  resitor: 2\n", "odds.yaml:2:3: 'resitor'"),
        ("parts:\n  resitor: 2\n", "write 'resistor'"),
        ("stage dead: often\n", "odds.yaml:1:13: 'often': expected a number above 0, such"),
        ("stage dead: -1\n", "'-1': expected a number above 0"),
        ("stage dead: nan\n", "'nan'"),
        ("stage dead: {a: 1}\n", "expected a number above 0"),
        ("parts: 3\n", "odds.yaml:1:8: '3': expected lines such as 'resistor: 2'"),
        ("", "an empty file"),
        ("- 1\n", "expected lines such as 'parts: 2'"),
        ("stage dead: 1\nstage dead: 2\n", "odds.yaml:2:1: 'stage dead' again"),
    ],
)
def test_a_fault_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(OddsFileError) as refused:
        parse_odds(text.encode(), "odds.yaml", USUAL)
    assert told in str(refused.value)


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(OddsFileError) as refused:
        parse_odds(b"a: 1\nstage dead: x\nparts: {b: 2}\n", "odds.yaml", USUAL)
    assert [fault.line for fault in refused.value.faults] == [1, 2, 3]


@given(st.binary(max_size=200))
def test_whatever_the_bytes_it_is_odds_or_a_stated_fault(data: bytes) -> None:
    found = USUAL
    with suppress(OddsFileError):
        found = parse_odds(data, "odds.yaml", USUAL)
    assert set(found) == set(USUAL)
