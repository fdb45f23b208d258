"""A cell of an export runs in no spreadsheet; the signs are those of OWASP, "CSV Injection"."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pinfolio.plugins.web.serving.inert_csv import make_inert

TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)


def write_csv(row: list[str]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(row)
    return out.getvalue()


def read(rows: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(rows, newline="")))


@pytest.mark.parametrize(
    "text", ["=1+1", "+cmd|' /C calc'!A0", "-1+1", "@SUM(A1)", "\t=1", "\r=1", '=a"b', "=a,b"]
)
def test_a_cell_that_would_run_gets_an_apostrophe(text: str) -> None:
    assert read(make_inert(write_csv(["a", text, "b"]))) == [["a", f"'{text}", "b"]]
    assert read(make_inert(write_csv([text]))) == [[f"'{text}"]]


@pytest.mark.parametrize("number", ["-5", "+3.5", "-1e-12", "0", "5e-324"])
def test_numbers_stay_numbers(number: str) -> None:
    assert make_inert(f"a,{number}\r\n") == f"a,{number}\r\n"


@given(st.lists(TEXTS, min_size=1, max_size=4))
@example(["", "=a", "", ",=b", '"', "\n=c"])
def test_any_other_cell_stays_as_it_is(row: list[str]) -> None:
    (kept,) = read(make_inert(write_csv(row)))
    for before, after in zip(row, kept, strict=True):
        runs = before.startswith(("=", "+", "-", "@", "\t", "\r"))
        assert after in (before, f"'{before}") if runs else after == before
        assert not after.startswith(("=", "@", "\t", "\r"))
