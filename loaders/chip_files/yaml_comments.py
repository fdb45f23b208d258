"""YAML with its comments: each comment and blank line belongs to the entry that it is about.

A comment on its own line belongs to the entry below it, unless it is indented deeper: then to the
end of the map or list that it is indented like. A comment behind something belongs to the entry
that ends there. So entries can change their order and take their comments along.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import yaml

from .yaml_positions import YAML_LOADER

# What YAML counts as the end of a line (YAML 1.1, section 5.4: these and no others).
_LINE_END: Final = re.compile("\r\n|[\n\r\x85\u2028\u2029]")


@dataclass
class Scalar:
    """Plain text; ``quoted`` when it stands in quotes, so that no reader takes it for a number."""

    text: str
    quoted: bool = False


@dataclass
class Collection:
    """A map or a list, and the comments below its last entry."""

    is_map: bool
    entries: list[Entry] = field(default_factory=list)
    tail: list[str] = field(default_factory=list)
    spread: bool = False
    """True when it never goes on one line, however short."""


@dataclass
class Entry:
    """One key with its value, or one item of a list, where ``key`` is None."""

    key: str | None
    value: Scalar | Collection
    before: list[str] = field(default_factory=list)
    """Comments above it, an empty text for a blank line."""
    beside: str | None = None
    """The comment on its line."""


@dataclass
class Document:
    """The whole file: comments at its head, which stay there, and what follows."""

    root: Collection
    head: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Spot:
    """Where an entry is: offsets of its start and end, its column, the collections it is in."""

    entry: Entry
    start: int
    end: float
    column: int
    around: tuple[_Holder, ...]


@dataclass(frozen=True)
class _Holder:
    """A collection in the text: its column, and its offsets where it stands in brackets."""

    collection: Collection
    column: int
    brackets: tuple[int, int] | None


@dataclass(frozen=True)
class _Comment:
    """A comment, or a blank line where the text is empty."""

    offset: int
    column: int
    text: str
    alone: bool
    line: int


def read_document(text: str) -> Document:
    """A map or list, in a text that ``read_yaml`` accepts, with its comments."""
    text = text.removeprefix("\ufeff")
    reading = _Reading(text)
    root = reading.value(yaml.compose(text, Loader=YAML_LOADER), ())
    assert isinstance(root, Collection)
    document = Document(root)
    _Placing(document, reading).place()
    return document


def offset_of(text: str, mark: yaml.Mark) -> int:
    """Where in the text a mark points to."""
    return _offset(text, _line_starts(text), mark)


def _line_starts(text: str) -> list[int]:
    return [0, *(found.end() for found in _LINE_END.finditer(text))]


def _offset(text: str, lines: list[int], mark: yaml.Mark) -> int:
    return min(lines[min(mark.line, len(lines) - 1)] + mark.column, len(text))


class _Reading:
    """Composed nodes become entries; on the way it is noted where they and the scalars are."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.lines = _line_starts(text)
        self.spots: list[_Spot] = []
        self.holders: list[_Holder] = []
        self.scalars: list[tuple[int, int]] = []

    def offset(self, mark: yaml.Mark) -> int:
        return _offset(self.text, self.lines, mark)

    def value(self, node: Any, around: tuple[_Holder, ...]) -> Scalar | Collection:
        if isinstance(node, yaml.ScalarNode):
            self._note_scalar(node)
            return Scalar(node.value.strip(), quoted=node.style in ("'", '"'))
        is_map, start = isinstance(node, yaml.MappingNode), self.offset(node.start_mark)
        brackets = (start, self.offset(node.end_mark)) if node.flow_style else None
        column = node.start_mark.column
        holder = _Holder(Collection(is_map), column, brackets)
        self.holders.append(holder)
        inside = (*around, holder)
        for item in node.value:
            key, value = item if is_map else (None, item)
            first, ended = key or value, self._end(key, value)
            entry = Entry(key and key.value, Scalar(""))
            holder.collection.entries.append(entry)
            start = self.offset(first.start_mark)
            self.spots.append(_Spot(entry, start, ended, column, inside))
            if key is not None:
                self._note_scalar(key)
            entry.value = self.value(value, inside)
        return holder.collection

    def _end(self, key: Any, value: Any) -> float:
        """Where an entry ends; a block ends nowhere in particular, and nothing where its key is."""
        if isinstance(value, yaml.ScalarNode):
            empty = value.value == "" and not value.style
            return self.offset((key if empty and key else value).end_mark)
        return self.offset(value.end_mark) if value.flow_style else math.inf

    def _note_scalar(self, node: yaml.ScalarNode) -> None:
        """A block scalar begins below its first line, where a comment may stand."""
        start, end = self.offset(node.start_mark), self.offset(node.end_mark)
        if node.style in ("|", ">"):
            end = start + len(self.text[start:end].rstrip())
            start = min(next((at for at in self.lines if at > start), end), end)
        if end > start:
            self.scalars.append((start, end))

    def comments(self) -> Iterator[_Comment]:
        """What stands between the scalars: comments and blank lines, in order."""
        ends = [*self.lines[1:], len(self.text) + 1]
        scalars = sorted(self.scalars)
        for line, (start, end) in enumerate(zip(self.lines, ends, strict=True)):
            content = _LINE_END.sub("", self.text[start:end])
            inside = self._touching(scalars, start, end)
            if not content.strip() and not inside:
                if start < len(self.text):
                    yield _Comment(start, 0, "", alone=True, line=line)
                continue
            signs = (start + found.start() for found in re.finditer("#", content))
            hash_at = next((at for at in signs if not any(a <= at < b for a, b in inside)), None)
            if hash_at is not None:
                column = hash_at - start
                words = content[column:].rstrip()
                yield _Comment(hash_at, column, words, not content[:column].strip(), line)

    @staticmethod
    def _touching(scalars: list[tuple[int, int]], start: int, end: int) -> list[tuple[int, int]]:
        """The scalars that reach into the line from ``start`` to before ``end``."""
        after = bisect_right(scalars, (end - 1, math.inf))
        first = after
        while first and scalars[first - 1][1] > start:
            first -= 1
        return scalars[first:after]


class _Placing:
    """Finds for each comment the entry or collection that it belongs to."""

    def __init__(self, document: Document, reading: _Reading) -> None:
        self.document, self.reading = document, reading
        self.spots = reading.spots
        self.starts = [spot.start for spot in self.spots]

    def place(self) -> None:
        """Comments on their own lines are placed run by run, between one entry and the next."""
        run: list[_Comment] = []
        for comment in self.reading.comments():
            if run and self._next(run[0]) != self._next(comment):
                self._place_run(run)
                run = []
            if comment.alone or not self._place_beside(comment):
                run.append(comment)
        if run:
            self._place_run(run)

    def _next(self, comment: _Comment) -> tuple[int, _Holder | None]:
        """Index of the first entry below, and the innermost brackets that close before it."""
        index = bisect_right(self.starts, comment.offset)
        start = self.starts[index] if index < len(self.starts) else math.inf
        closing = None
        for holder in self.reading.holders:
            if (
                holder.brackets
                and holder.brackets[0] < comment.offset < holder.brackets[1] <= start
            ):
                closing = holder
        return index, closing

    def _place_run(self, run: list[_Comment]) -> None:
        index, brackets = self._next(run[0])
        following = self.spots[index] if index < len(self.spots) else None
        ended = self.spots[index - 1].around if index else ()
        column = following.column if following else -1
        closed = [holder for holder in ended if holder.column > column and not holder.brackets]
        below = True
        blank = False
        for comment in run:
            if not comment.text:
                blank = True
                continue
            below = below and comment.alone and comment.column > column
            if brackets is not None:
                target = brackets.collection.tail
            elif below and closed:
                inner = [holder for holder in closed if holder.column <= comment.column]
                target = (inner[-1] if inner else closed[0]).collection.tail
            else:
                target = self._above(following, index)
            target += ["", comment.text] if blank else [comment.text]
            blank = False
        if blank and following is not None and brackets is None:
            self._above(following, index).append("")

    def _above(self, following: _Spot | None, index: int) -> list[str]:
        """Where comments above an entry go; those above the first are the head of the file."""
        if following is None:
            return self.document.root.tail
        return self.document.head if index == 0 else following.entry.before

    def _place_beside(self, comment: _Comment) -> bool:
        """Put a comment beside the entry that ends, or else begins, on its line; False if none."""
        line_start = self.reading.lines[comment.line]
        index = bisect_right(self.starts, comment.offset)
        ended = [s for s in self.spots[:index] if line_start < s.end <= comment.offset]
        begun = [s for s in self.spots[:index] if s.start >= line_start]
        if not ended and not begun:
            return False
        entry = (max(ended, key=lambda s: s.end) if ended else begun[-1]).entry
        if entry.beside is None:
            entry.beside = comment.text
        else:
            entry.before.append(comment.text)
        return True
