"""Chips, pins and stages by words.

Where few rows say the words they are ranked by BM25. Where many do, ranking all of them would
take longer than anybody waits: then so many are taken as are looked through in a moment, those
first that say the words as typed in the columns that matter, and the shortest go first, which is
what BM25 comes to when every row says a word once. Source: SQLite FTS5, section 5.1, "The bm25()
function" (https://www.sqlite.org/fts5.html).
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from ..words.full_text_query import build_match_query, words
from .chip_search import (
    ANY,
    CHIP_COLUMNS,
    ChipRow,
    FolioQueries,
    Only,
    PinRow,
    Value,
    to_chip_row,
    to_storable,
)

Terms = Sequence[Sequence[str]]
"""The wordings of each term, as ``Thesaurus.expand`` gives them."""

_MOST_RANKED: Final = 1_000
_MOST_COUNTED: Final = 100_000  # BM25 walks all rows that say any one of the words
_MOST_LOOKED_AT: Final = 6_000  # rows that say the words, where an answer is kept to some chips
_MOST_CHIPS_ASKED: Final = 200
_MOST_GO_ON: Final = 12  # how many longer words a common beginning stands for
_FEW_FIRST: Final = 3


@dataclass(frozen=True)
class Shared:
    """Words that chips have in common: the name of a stage, or what a pin does."""

    text: str
    chips: int
    """How many of the chips looked at."""
    first: tuple[str, ...]
    """Part numbers of a few of them."""

    def __str__(self) -> str:
        more = self.chips - len(self.first)
        return ", ".join(self.first) + (f" and {more:,} more" if more else "")


@dataclass(frozen=True)
class _Index:
    """A full-text index, and how its hits become rows: in this order, hence ``CROSS JOIN``."""

    name: str
    weights: str
    telling: str
    """The columns that matter, as FTS5 names several."""
    joined: str
    its_chip: str
    """What joins the chip, for an answer that is kept to some."""
    size: str
    """What is small when a row says little else."""
    order: str


@dataclass(frozen=True)
class _Question:
    """Words looked for in an index, and what is asked of the chips besides."""

    index: _Index
    terms: Terms
    query: str | None
    of_chips: str
    chip_values: tuple[Value, ...]
    role: str | None = None

    @property
    def where(self) -> str:
        """What is asked besides the words, as SQL."""
        return f"{self.of_chips} AND pin.role = ? COLLATE NOCASE" if self.role else self.of_chips

    @property
    def values(self) -> tuple[Value, ...]:
        """The values for it."""
        return (*self.chip_values, self.role) if self.role else self.chip_values

    @property
    def narrowed(self) -> bool:
        """Whether an answer is kept to some chips."""
        return bool(self.chip_values)

    @property
    def joined(self) -> str:
        """What the hits are joined to."""
        index = self.index
        return f"{index.joined} {index.its_chip}" if self.narrowed else index.joined


_CHIPS: Final = _Index(
    "chip_fts", "8, 8, 2, 4, 1", "part markings kind",
    "CROSS JOIN chip ON chip.rowid = hit.at", "",
    "length(chip.kind) + length(chip.summary)", "chip.part_key",
)  # fmt: skip
_PINS: Final = _Index(
    "pin_fts", "4, 4, 1, 1", "symbol function",
    "CROSS JOIN pin ON pin.id = hit.at", "CROSS JOIN chip ON chip.part = pin.chip",
    "length(pin.symbol) + length(pin.function)", "pin.chip, pin.number",
)  # fmt: skip
_BLOCKS: Final = _Index(
    "block_fts", "1", "name",
    "CROSS JOIN block ON block.rowid = hit.at", "CROSS JOIN chip ON chip.part = block.chip",
    "length(block.name)", "block.name, block.chip",
)  # fmt: skip
_PIN_COLUMNS: Final = "pin.chip, pin.number, pin.symbol, pin.function, pin.role, pin.blocks"


class WordSearch(FolioQueries):
    """Chips, pins and stages by words; any words whatever, none is an error."""

    def search_chips(self, terms: Terms, limit: int = 20, only: Only = ANY) -> list[ChipRow]:
        """Chips whose part, markings, maker, kind or summary say every term, best first."""
        asked = _Question(_CHIPS, terms, build_match_query(terms), *only.make_condition())
        rows = self._answer(asked, self._are_many(asked), CHIP_COLUMNS, limit)
        return [to_chip_row(row) for row in rows]

    def search_pins(
        self,
        terms: Terms,
        limit: int = 20,
        parts: Sequence[str] | None = None,
        only: Only = ANY,
    ) -> list[PinRow]:
        """Pins whose symbol, function, role or stages say every term, best first.

        ``parts`` are the part numbers of the only chips to look at.
        """
        asked = self._about_pins(terms, only, parts)
        many = self._are_many(asked)
        chips = self._few_chips(asked) if asked.narrowed and many else None
        if chips is None:
            rows = self._answer(asked, many, _PIN_COLUMNS, limit)
        else:
            rows = [row for chip in chips for row in self._pins_between(asked, *chip)]
            rows.sort(key=lambda row: len(row[2]) + len(row[3]))
        return [PinRow(*row) for row in rows[:limit]]

    def functions(self, terms: Terms, limit: int = 8, only: Only = ANY) -> list[Shared]:
        """What pins of several chips do, in words that say every term; the commonest first."""
        asked = self._about_pins(terms, only, None)
        found = self._shared(asked, "pin.function", "pin.chip")
        found = [shared for shared in found if shared.chips > 1]
        return sorted(found, key=lambda shared: -shared.chips)[:limit]

    def search_blocks(self, terms: Terms, limit: int = 8, only: Only = ANY) -> list[Shared]:
        """Names of stages that say every term, the shortest first, with the chips they are in."""
        asked = _Question(_BLOCKS, terms, build_match_query(terms), *only.make_condition())
        found = self._shared(asked, "block.name", "block.chip")
        return sorted(found, key=lambda shared: (len(shared.text), -shared.chips))[:limit]

    def _about_pins(self, terms: Terms, only: Only, parts: Sequence[str] | None) -> _Question:
        """The question with the role as one more word, since every pin says its role."""
        query = build_match_query(terms, self._goes_on)
        if query is not None and only.role:
            said = words(only.role)
            query = f'{query} AND "{" ".join(said)}"' if said else None
        where, values = only.make_condition()
        if parts is not None:
            where += f" AND chip.part IN ({', '.join('?' * len(parts))})"
            values += tuple(parts)
        asked = _Question(_PINS, terms, query, where, values)
        return replace(asked, role=str(to_storable(only.role))) if only.role else asked

    def _answer(self, asked: _Question, many: bool, columns: str, limit: int) -> list[Any]:
        """Rows for a question, best first; ``many`` says whether too many to rank them all."""
        if asked.query is None:
            return []
        index = asked.index
        if not many and self._counts(asked):
            hits = f"SELECT rowid AS at, bm25({index.name}, {index.weights}) AS score"
            return self._rows(
                f"SELECT {columns} FROM ({hits} FROM {index.name} WHERE {index.name} MATCH ?)"
                f" AS hit {asked.joined} WHERE {asked.where}"
                f" ORDER BY hit.score, {index.order} LIMIT ?",
                asked.query, *asked.values, limit,
            )  # fmt: skip
        found: dict[Any, None] = {}
        for query in (_as_typed(asked), asked.query):
            if len(found) < limit:
                rows = self._cut(asked, query, columns, f"{index.size}, {index.order}", limit)
                found |= dict.fromkeys(map(tuple, rows))
        return list(found)

    def _cut(self, asked: _Question, query: str, columns: str, order: str, limit: int) -> list[Any]:
        """Of the rows that say the words as many as are looked through in a moment, in order."""
        index = asked.index
        return self._rows(
            f"SELECT {columns} FROM (SELECT rowid AS at FROM {index.name}"
            f" WHERE {index.name} MATCH ? LIMIT ?) AS hit {asked.joined} WHERE {asked.where}"
            f" ORDER BY {order} LIMIT ?",
            query, _MOST_LOOKED_AT if asked.values else _MOST_RANKED, *asked.values, limit,
        )  # fmt: skip

    def _shared(self, asked: _Question, text: str, chip: str) -> list[Shared]:
        """Every text that the rows have, with its chips."""
        if asked.query is None:
            return []
        chips: dict[str, dict[str, None]] = {}
        for said, part in self._cut(asked, asked.query, f"{text}, {chip}", "hit.at", _MOST_RANKED):
            chips.setdefault(said, {})[part] = None
        return [
            Shared(said, len(parts), tuple(parts)[:_FEW_FIRST]) for said, parts in chips.items()
        ]

    def _are_many(self, asked: _Question) -> bool:
        """Whether more rows say the words than can be ranked in a moment."""
        if asked.query is None:
            return False
        name = asked.index.name
        ((hits,),) = self._rows(
            f"SELECT count(*) FROM (SELECT 1 FROM {name} WHERE {name} MATCH ? LIMIT ?)",
            asked.query,
            _MOST_RANKED + 1,
        )
        return bool(hits > _MOST_RANKED)

    def _counts(self, asked: _Question) -> bool:
        """Whether the words of a query stand on so few pins that BM25 may count them."""
        if asked.index is not _PINS:
            return True
        quoted = " ".join(re.findall(r'"([^"]*)"', asked.query or ""))
        ((pins,),) = self._rows(
            "SELECT total(pins) FROM word WHERE word IN (SELECT value FROM json_each(?))",
            json.dumps([_folded(word) for word in words(quoted)]),
        )
        return bool(pins <= _MOST_COUNTED)

    def _goes_on(self, word: str) -> list[str] | None:
        """The commonest words that begin so, where they stand on too many pins to look up all."""
        begin = _folded(word)
        known = self._rows(
            "SELECT word, pins FROM word WHERE word >= ? AND word < ? ORDER BY pins DESC",
            begin,
            begin + "\U0010ffff",
        )
        if sum(pins for _, pins in known) <= _MOST_RANKED:
            return None
        return list(dict.fromkeys([begin, *(longer for longer, _ in known[:_MOST_GO_ON])]))

    def _few_chips(self, asked: _Question) -> list[tuple[str, int, int]] | None:
        """The chips a question is kept to, or None when they are many; with their first and
        last pin, which stand together in the index."""
        chips = self._rows(
            f"SELECT chip.part FROM chip WHERE {asked.of_chips} LIMIT ?",
            *asked.chip_values,
            _MOST_CHIPS_ASKED + 1,
        )
        if len(chips) > _MOST_CHIPS_ASKED:
            return None
        return self._rows(
            "SELECT chip, min(id), max(id) FROM pin"
            " WHERE chip IN (SELECT value FROM json_each(?)) GROUP BY chip",
            json.dumps([part for (part,) in chips]),
        )

    def _pins_between(self, asked: _Question, chip: str, first: int, last: int) -> list[Any]:
        """The pins of a chip that say the words."""
        return self._rows(
            f"SELECT {_PIN_COLUMNS} FROM pin_fts CROSS JOIN pin ON pin.id = pin_fts.rowid"
            " WHERE pin_fts MATCH ? AND pin_fts.rowid BETWEEN ? AND ? AND pin.chip = ?"
            " AND coalesce(pin.role = ? COLLATE NOCASE, 1)",
            asked.query or "", first, last, chip, asked.role,
        )  # fmt: skip


def _as_typed(asked: _Question) -> str:
    """The first wording of every term, in the columns that matter."""
    query = build_match_query([term[:1] for term in asked.terms], lambda word: [word])
    return f"{{{asked.index.telling}}} : ({query})"


def _folded(word: str) -> str:
    """A word as the word index keeps it: small, without accents."""
    apart = unicodedata.normalize("NFKD", word.lower())
    return "".join(sign for sign in apart if not unicodedata.combining(sign))
