"""Query a folio for chips, pins and stages by words.

Few matching rows are ranked by BM25. Ranking many would take too long, so only a limited number is
read: first the rows that contain the words as typed in the main columns. These are ordered by
length, which is the order of BM25 when every row contains each word once.

Source: SQLite FTS5, section 5.1, "The bm25() function" (https://www.sqlite.org/fts5.html).
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from ..words.full_text_query import build_match_query, split_words
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
"""The wordings of each term, as from ``Thesaurus.expand``."""

_MOST_RANKED: Final = 1_000
_MOST_COUNTED: Final = 100_000  # BM25 reads all rows that contain any of the words
_MOST_READ: Final = 6_000  # matching rows, when chips are filtered
_MOST_CHIPS_ASKED: Final = 200
_MOST_COMPLETIONS: Final = 12  # longer words tried for a common prefix
_FEW_FIRST: Final = 3


class Shared(NamedTuple):
    """Text that several chips share: the name of a stage, or the function of a pin."""

    text: str
    chips: int
    """Number of chips among the rows read."""
    first: tuple[str, ...]
    """Part numbers of the first few."""

    def __str__(self) -> str:
        more = self.chips - len(self.first)
        return ", ".join(self.first) + (f" and {more:,} more" if more else "")


class _Index(NamedTuple):
    """A full-text index, and the SQL that joins its hits; ``CROSS JOIN`` fixes the order."""

    name: str
    weights: str
    main_columns: str
    """The main columns, in FTS5 syntax."""
    joined: str
    join_chip: str
    """The join with the chip, needed when chips are filtered."""
    size: str
    """An expression for the length of the main columns."""
    order: str


class _Question(NamedTuple):
    """Words to find in an index, and the filters."""

    searched: _Index
    terms: Terms
    query: str | None
    chip_condition: str
    chip_values: tuple[Value, ...]
    role: str | None = None

    @property
    def where(self) -> str:
        """The SQL condition besides the words."""
        return (
            f"{self.chip_condition} AND pin.role = ? COLLATE NOCASE"
            if self.role
            else self.chip_condition
        )

    @property
    def values(self) -> tuple[Value, ...]:
        """The values of that condition."""
        return (*self.chip_values, self.role) if self.role else self.chip_values

    @property
    def filters_chips(self) -> bool:
        """Whether chips are filtered."""
        return bool(self.chip_values)

    @property
    def joined(self) -> str:
        """The SQL that joins the hits."""
        index = self.searched
        return f"{index.joined} {index.join_chip}" if self.filters_chips else index.joined


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
    """Queries for chips, pins and stages by words; no words are an error."""

    def search_chips(self, terms: Terms, limit: int = 20, only: Only = ANY) -> list[ChipRow]:
        """Return chips whose part, markings, maker, kind or summary contain every term.

        The best matches come first.
        """
        question = _Question(_CHIPS, terms, build_match_query(terms), *only.make_condition())
        rows = self._answer(question, self._are_many(question), CHIP_COLUMNS, limit)
        return [to_chip_row(row) for row in rows]

    def search_pins(
        self,
        terms: Terms,
        limit: int = 20,
        parts: Sequence[str] | None = None,
        only: Only = ANY,
    ) -> list[PinRow]:
        """Return pins whose symbol, function, role or stages contain every term, best first.

        With ``parts`` only chips with these part numbers are searched.
        """
        question = self._ask_pins(terms, only, parts)
        many = self._are_many(question)
        few_chips = self._find_few_chips(question) if question.filters_chips and many else None
        if few_chips is None:
            rows = self._answer(question, many, _PIN_COLUMNS, limit)
            return [PinRow(*row) for row in rows[:limit]]
        # A common word on few chips: searching chip by chip is faster than ranking all its hits.
        pins = [
            PinRow(*row)
            for chip_pin_ids in few_chips
            for row in self._find_pins_between(question, *chip_pin_ids)
        ]
        pins.sort(key=lambda pin: len(pin.symbol) + len(pin.function))
        return pins[:limit]

    def functions(self, terms: Terms, limit: int = 8, only: Only = ANY) -> list[Shared]:
        """Return pin functions that several chips share and contain every term, commonest first."""
        question = self._ask_pins(terms, only, None)
        functions = self._find_shared(question, "pin.function", "pin.chip")
        functions = [shared for shared in functions if shared.chips > 1]
        return sorted(functions, key=lambda shared: -shared.chips)[:limit]

    def search_blocks(self, terms: Terms, limit: int = 8, only: Only = ANY) -> list[Shared]:
        """Return stage names that contain every term, shortest first, with their chips."""
        question = _Question(_BLOCKS, terms, build_match_query(terms), *only.make_condition())
        blocks = self._find_shared(question, "block.name", "block.chip")
        return sorted(blocks, key=lambda shared: (len(shared.text), -shared.chips))[:limit]

    def _ask_pins(self, terms: Terms, only: Only, parts: Sequence[str] | None) -> _Question:
        """Return the question for pins with these terms, within the chosen chips."""
        # Every pin contains its role as a word, so the index narrows the search further.
        query = build_match_query(terms, self._complete_word)
        if query is not None and only.role:
            role_words = split_words(only.role)
            query = f'{query} AND "{" ".join(role_words)}"' if role_words else None
        where, values = only.make_condition()
        if parts is not None:
            where += f" AND chip.part IN ({', '.join('?' * len(parts))})"
            values += tuple(parts)
        question = _Question(_PINS, terms, query, where, values)
        return question._replace(role=str(to_storable(only.role))) if only.role else question

    def _answer(self, question: _Question, many: bool, columns: str, limit: int) -> list[Any]:
        """Return the rows for a question, best first; ``many``: too many match to rank them all."""
        if question.query is None:
            return []
        index = question.searched
        if not many and self._may_use_bm25(question):
            scored_hits = (
                f"SELECT rowid AS at, bm25({index.name}, {index.weights}) AS score"
                f" FROM {index.name} WHERE {index.name} MATCH ?"
            )
            return self._query_rows(
                f"SELECT {columns} FROM ({scored_hits})"
                f" AS hit {question.joined} WHERE {question.where}"
                f" ORDER BY hit.score, {index.order} LIMIT ?",
                question.query, *question.values, limit,
            )  # fmt: skip
        # The words as typed first; other wordings and prefixes only fill up to the limit.
        shortest_first = f"{index.size}, {index.order}"
        unique_rows: dict[Any, None] = {}  # a dictionary keeps the order
        for query in (_quote_as_typed(question), question.query):
            if len(unique_rows) < limit:
                rows = self._read_some(question, query, columns, shortest_first, limit)
                unique_rows |= dict.fromkeys(map(tuple, rows))
        return list(unique_rows)

    def _read_some(
        self, question: _Question, query: str, columns: str, order: str, limit: int
    ) -> list[Any]:
        """Return matching rows in order, reading no more of them than takes a moment."""
        index = question.searched
        return self._query_rows(
            f"SELECT {columns} FROM (SELECT rowid AS at FROM {index.name}"
            f" WHERE {index.name} MATCH ? LIMIT ?) AS hit {question.joined} WHERE {question.where}"
            f" ORDER BY {order} LIMIT ?",
            query, _MOST_READ if question.values else _MOST_RANKED, *question.values, limit,
        )  # fmt: skip

    def _find_shared(self, question: _Question, text: str, chip: str) -> list[Shared]:
        """Return the texts in matching rows, each with its chips."""
        if question.query is None:
            return []
        chips: dict[str, dict[str, None]] = {}
        for shared_text, part in self._read_some(
            question, question.query, f"{text}, {chip}", "hit.at", _MOST_RANKED
        ):
            chips.setdefault(shared_text, {})[part] = None
        return [
            Shared(shared_text, len(parts), tuple(parts)[:_FEW_FIRST])
            for shared_text, parts in chips.items()
        ]

    def _are_many(self, question: _Question) -> bool:
        """Return whether more rows match than can be ranked in a moment."""
        if question.query is None:
            return False
        name = question.searched.name
        ((hits,),) = self._query_rows(
            f"SELECT count(*) FROM (SELECT 1 FROM {name} WHERE {name} MATCH ? LIMIT ?)",
            question.query,
            _MOST_RANKED + 1,
        )
        return bool(hits > _MOST_RANKED)

    def _may_use_bm25(self, question: _Question) -> bool:
        """Return whether the words occur on so few pins that BM25 is fast."""
        if question.searched is not _PINS:
            return True
        quoted = " ".join(re.findall(r'"([^"]*)"', question.query or ""))
        ((pins,),) = self._query_rows(
            "SELECT total(pins) FROM word WHERE word IN (SELECT value FROM json_each(?))",
            json.dumps([_fold(word) for word in split_words(quoted)]),
        )
        return bool(pins <= _MOST_COUNTED)

    def _complete_word(self, word: str) -> list[str] | None:
        """Return the commonest words with this prefix; None if all of them can be looked up."""
        prefix = _fold(word)
        completions = self._query_rows(
            "SELECT word, pins FROM word WHERE word >= ? AND word < ? ORDER BY pins DESC",
            prefix,
            prefix + "\U0010ffff",
        )
        if sum(pins for _, pins in completions) <= _MOST_RANKED:
            return None
        return list(
            dict.fromkeys([prefix, *(longer for longer, _ in completions[:_MOST_COMPLETIONS])])
        )

    def _find_few_chips(self, question: _Question) -> list[tuple[str, int, int]] | None:
        """Return the filtered chips with their first and last pin id; None if they are many.

        The pins of a chip have consecutive ids.
        """
        # One more than allowed is read, to see whether there are more.
        chips = self._query_rows(
            f"SELECT chip.part FROM chip WHERE {question.chip_condition} LIMIT ?",
            *question.chip_values,
            _MOST_CHIPS_ASKED + 1,
        )
        if len(chips) > _MOST_CHIPS_ASKED:
            return None
        return self._query_rows(
            "SELECT chip, min(id), max(id) FROM pin"
            " WHERE chip IN (SELECT value FROM json_each(?)) GROUP BY chip",
            json.dumps([part for (part,) in chips]),
        )

    def _find_pins_between(
        self, question: _Question, chip: str, first: int, last: int
    ) -> list[Any]:
        """Return the matching pins of one chip."""
        return self._query_rows(
            f"SELECT {_PIN_COLUMNS} FROM pin_fts CROSS JOIN pin ON pin.id = pin_fts.rowid"
            " WHERE pin_fts MATCH ? AND pin_fts.rowid BETWEEN ? AND ? AND pin.chip = ?"
            " AND coalesce(pin.role = ? COLLATE NOCASE, 1)",
            question.query or "", first, last, chip, question.role,
        )  # fmt: skip


def _quote_as_typed(question: _Question) -> str:
    """Return the query for the first wording of every term, in the main columns."""
    query = build_match_query([term[:1] for term in question.terms], lambda word: [word])
    return f"{{{question.searched.main_columns}}} : ({query})"


def _fold(word: str) -> str:
    """Return a word as the index stores it: lower case, without accents."""
    decomposed = unicodedata.normalize("NFKD", word.lower())
    return "".join(sign for sign in decomposed if not unicodedata.combining(sign))
