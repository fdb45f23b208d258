"""Words of tables in German, French, Spanish, Italian, Japanese, Chinese and Russian.

``trade_words.yaml`` lists them; here they are looked up. English is in ``heading_words``.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any, Final

import yaml

from ..chip_files.yaml_positions import YAML_LOADER

_WITHOUT_SPACES: Final = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff]")


def find_heading_key(words: str) -> str | None:
    """Return the key of the column that these words head as a whole, or None.

    >>> find_heading_key("Anschluss-Nr."), find_heading_key("引脚名称")
    ('number', 'symbol')
    """
    return _load_headings().get(simplify(words))


def find_role(words: str) -> str | None:
    """Return the role of a pin whose function these words describe, or None.

    >>> find_role("Videoeingang"), find_role("выход строчной развёртки")
    ('input', 'output')
    """
    text = words.casefold()
    return next((role for role, pattern in _load_roles() if pattern.search(text)), None)


def find_unit(cell: str) -> str | None:
    """Return the unit that a cell names in another script, or None: ``мкА`` is ``µA``."""
    return _load_units().get(cell.strip())


@cache
def list_words(section: str, key: str) -> str:
    """Return the words for a limit or a state of the set as a regular expression."""
    words = sorted(_load()[section].get(key, ()), key=len, reverse=True)
    return "|".join(re.escape(word) for word in words)


def simplify(words: str) -> str:
    """Return a heading in lower case and usual width, without dots, dashes and brackets."""
    plain = unicodedata.normalize("NFKC", words).casefold()
    return " ".join(re.sub(r"[.\-_°:|()\[\]'’,]+", " ", plain).split())


@cache
def _load() -> dict[str, Any]:
    path = Path(__file__).with_name("trade_words.yaml")
    loaded: dict[str, Any] = yaml.load(path.read_text(encoding="utf-8"), YAML_LOADER)
    return loaded


@cache
def _load_headings() -> dict[str, str]:
    return {
        simplify(word): key
        for key, languages in _load()["headings"].items()
        for words in languages.values()
        for word in words
    }


@cache
def _load_roles() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple(
        (role, re.compile("|".join(map(_to_pattern, words))))
        for role, words in _load()["roles"].items()
    )


def _to_pattern(word: str) -> str:
    """Return the pattern of a word: at the end of another, anywhere if written without spaces."""
    text = re.escape(word.casefold())
    return text if _WITHOUT_SPACES.search(word) else rf"{text}\b"


@cache
def _load_units() -> dict[str, str]:
    return {word: unit for unit, words in _load()["units"].items() for word in words}
