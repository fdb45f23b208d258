"""TOML from a stranger takes little time, however it is made."""

from __future__ import annotations

import time

import pytest
from pinfolio.loaders.shop.toml_text import parse_toml


def test_tables_are_read() -> None:
    assert parse_toml('[meter."a.b"]\nfactor = 1.5\n') == {"meter": {"a.b": {"factor": 1.5}}}


@pytest.mark.parametrize(
    "text",
    ["a" + ".b" * 50_000 + " = 1", "[a" + ".b" * 50_000 + "]", "x = {a" + ".b" * 50_000 + " = 1}",
     "a = " + "[" * 50_000, "a = 1\na = 2", "a = " + "9" * 50_000],
    ids=["dotted key", "dotted table", "inline table", "brackets", "key twice", "long number"],
)  # fmt: skip
def test_whatever_is_none_is_refused_soon(text: str) -> None:
    begun = time.process_time()
    with pytest.raises(ValueError, match=r"line|digits|document"):
        parse_toml(text)
    assert time.process_time() - begun < 2
