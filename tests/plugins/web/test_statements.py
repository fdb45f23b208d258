"""The answer to a visitor's statement: rows as Datasette has them, or the reason for none."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.plugins.web.serving.statements import (
    MOST_BYTES,
    Refusal,
    Rows,
    Statement,
    open_statements,
)

Ask = Callable[..., Rows | Refusal]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "small.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE t (n INTEGER, word TEXT)")
        connection.executemany("INSERT INTO t VALUES (?, ?)", [(n, "µ") for n in range(10)])
    connection.close()
    return path


def take_stamp(path: Path) -> tuple[int, int, int, int]:
    state = path.stat()
    return state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns


@pytest.fixture
def ask(path: Path) -> Ask:
    answer = open_statements(path, take_stamp(path))
    return lambda sql, parameters=(), most_rows=1000, limit_s=1.0: answer(
        Statement(sql, parameters, most_rows, limit_s)
    )


def test_rows_with_the_names_of_their_columns(ask: Ask) -> None:
    answer = ask("SELECT n, n AS n, word FROM t WHERE n < :most", {"most": 2})
    assert answer == Rows(("n", "n", "word"), [(0, 0, "µ"), (1, 1, "µ")], False)


@pytest.mark.parametrize(("most_rows", "count", "is_truncated"), [(9, 9, True), (10, 10, False)])
def test_more_rows_than_asked_for_are_counted_as_more(
    ask: Ask, most_rows: int, count: int, is_truncated: bool
) -> None:
    answer = ask("SELECT n FROM t", most_rows=most_rows)
    assert isinstance(answer, Rows)
    assert (len(answer.rows), answer.is_truncated) == (count, is_truncated)


def test_one_long_value_is_answered_and_two_are_not(ask: Ask) -> None:
    assert isinstance(ask(f"SELECT zeroblob({MOST_BYTES + 1})"), Rows)
    answer = ask(f"SELECT zeroblob({MOST_BYTES}) FROM t")
    assert isinstance(answer, Refusal)
    assert (answer.kind, answer.message) == (
        "too large",
        "the answer is larger than 2,000,000 bytes",
    )


@pytest.mark.parametrize(
    ("sql", "kind", "message"),
    [
        ("SELECT no FROM t", "faulty", "no such column: no"),
        ("SELECT zeroblob(6000000)", "faulty", "string or blob too big"),
        ("SELECT :missing", "faulty", "supply a value"),
        ("SELECT 1; SELECT 2", "faulty", "one statement at a time"),
        ("DELETE FROM t", "faulty", "readonly"),
        ("ATTACH ':memory:' AS m", "faulty", "too many attached"),
    ],
)
def test_each_fault_says_what_it_is(ask: Ask, sql: str, kind: str, message: str) -> None:
    answer = ask(sql, {})
    assert isinstance(answer, Refusal)
    assert answer.kind == kind
    assert message in answer.message


def test_endless_work_is_interrupted(ask: Ask) -> None:
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i FROM n) SELECT count(*) FROM n"
    answer = ask(endless, limit_s=0.05)
    assert isinstance(answer, Refusal)
    assert answer.kind == "interrupted"
    assert isinstance(ask("SELECT 1"), Rows)


def test_another_file_in_its_place_is_not_answered_from(path: Path) -> None:
    before = take_stamp(path)
    with path.open("ab") as file:
        file.write(b"more")
    answer = open_statements(path, before)(Statement("SELECT 1", (), 10, 1.0))
    assert answer == Refusal("replaced", "the folio was replaced")
