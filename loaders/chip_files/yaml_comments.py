"""Read YAML with its comments, attaching each comment and blank line to an entry.

A comment on its own line belongs to the entry below it, or, if indented deeper, to the end of the
map or list with the same indent. A comment after a value belongs to the entry that ends there. So
entries keep their comments when they are reordered.
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

# The line breaks of YAML 1.1, section 5.4.
_LINE_END: Final = re.compile("\r\n|[\n\r\x85\u2028\u2029]")


@dataclass
class Scalar:
    """Text; ``quoted`` if it is in quotes in the file."""

    text: str
    quoted: bool = False


@dataclass
class Collection:
    """A map or list, and the comments after its last entry."""

    is_map: bool
    entries: list[Entry] = field(default_factory=list)
    tail: list[str] = field(default_factory=list)
    spread: bool = False
    """Whether it is never written on one line."""


@dataclass
class Entry:
    """A key with its value, or an item of a list, with ``key`` None."""

    key: str | None
    value: Scalar | Collection
    before: list[str] = field(default_factory=list)
    """Comments above it; an empty text is a blank line."""
    beside: str | None = None
    """The comment on the same line."""


@dataclass
class Document:
    """A whole file: the comments at its head, which stay there, and its content."""

    root: Collection
    head: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Spot:
    """Position of an entry: offsets of start and end, column, and enclosing collections."""

    entry: Entry
    start: int
    end: float
    column: int
    around: tuple[_Holder, ...]


@dataclass(frozen=True)
class _Holder:
    """Position of a collection: its column, and its offsets if it is in brackets."""

    collection: Collection
    column: int
    brackets: tuple[int, int] | None


@dataclass(frozen=True)
class _Comment:
    """A comment; an empty text is a blank line."""

    offset: int
    column: int
    text: str
    alone: bool
    line: int


def read_document(text: str) -> Document:
    """Return a map or list with its comments; ``text`` must be accepted by ``read_yaml``."""
    text = text.removeprefix("\ufeff")
    reading = _Reading(text)
    root = reading.value(yaml.compose(text, Loader=YAML_LOADER), ())
    assert isinstance(root, Collection)
    document = Document(root)
    _Placing(document, reading).place()
    return document


def offset_of(text: str, mark: yaml.Mark) -> int:
    """Return the offset of a mark in the text."""
    return _find_offset(text, _find_line_starts(text), mark)


def _find_line_starts(text: str) -> list[int]:
    return [0, *(found.end() for found in _LINE_END.finditer(text))]


def _find_offset(text: str, lines: list[int], mark: yaml.Mark) -> int:
    return min(lines[min(mark.line, len(lines) - 1)] + mark.column, len(text))


class _Reading:
    """Converts composed nodes to entries, and records the positions of entries and scalars."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.lines = _find_line_starts(text)
        self.spots: list[_Spot] = []
        self.holders: list[_Holder] = []
        self.scalars: list[tuple[int, int]] = []

    def offset(self, mark: yaml.Mark) -> int:
        return _find_offset(self.text, self.lines, mark)

    def value(self, node: Any, around: tuple[_Holder, ...]) -> Scalar | Collection:
        """Return the content of a node; ``around`` are the collections it is in."""
        if isinstance(node, yaml.ScalarNode):
            self._note_scalar(node)
            return Scalar(node.value.strip(), quoted=node.style in ("'", '"'))
        is_map = isinstance(node, yaml.MappingNode)
        in_brackets = bool(node.flow_style)
        brackets = (self.offset(node.start_mark), self.offset(node.end_mark))
        column = node.start_mark.column
        holder = _Holder(Collection(is_map), column, brackets if in_brackets else None)
        self.holders.append(holder)
        inside = (*around, holder)
        for item in node.value:
            key_node, value_node = item if is_map else (None, item)
            entry = Entry(key_node and key_node.value, Scalar(""))
            holder.collection.entries.append(entry)
            start = self.offset((key_node or value_node).start_mark)
            end = self._end(key_node, value_node)
            # Before the value is read: spots must be in the order of their starts.
            self.spots.append(_Spot(entry, start, end, column, inside))
            if key_node is not None:
                self._note_scalar(key_node)
            entry.value = self.value(value_node, inside)
        return holder.collection

    def _end(self, key: Any, value: Any) -> float:
        """Return the offset of the end of an entry: infinite for a block, its key if empty."""
        if isinstance(value, yaml.ScalarNode):
            empty = value.value == "" and not value.style
            return self.offset((key if empty and key else value).end_mark)
        return self.offset(value.end_mark) if value.flow_style else math.inf

    def _note_scalar(self, node: yaml.ScalarNode) -> None:
        """Record a scalar; of a block scalar without its first line, which may have a comment."""
        start, end = self.offset(node.start_mark), self.offset(node.end_mark)
        if node.style in ("|", ">"):
            end = start + len(self.text[start:end].rstrip())
            start = min(next((at for at in self.lines if at > start), end), end)
        if end > start:
            self.scalars.append((start, end))

    def comments(self) -> Iterator[_Comment]:
        """Yield the comments and blank lines between the scalars, in order."""
        line_ends = [*self.lines[1:], len(self.text) + 1]
        scalars = sorted(self.scalars)
        for line, (start, end) in enumerate(zip(self.lines, line_ends, strict=True)):
            content = _LINE_END.sub("", self.text[start:end])
            scalars_here = self._list_touching(scalars, start, end)
            # A blank line inside text of several lines belongs to that text.
            if not content.strip() and not scalars_here:
                if start < len(self.text):
                    yield _Comment(start, 0, "", alone=True, line=line)
                continue
            for match in re.finditer("#", content):
                column, offset = match.start(), start + match.start()
                # Within a scalar the sign is a character like any other.
                if any(first <= offset < past for first, past in scalars_here):
                    continue
                is_alone = not content[:column].strip()
                yield _Comment(offset, column, content[column:].rstrip(), is_alone, line)
                break  # the rest of the line is this comment

    @staticmethod
    def _list_touching(
        scalars: list[tuple[int, int]], start: int, end: int
    ) -> list[tuple[int, int]]:
        """Return the scalars that overlap the line from ``start`` to before ``end``."""
        after = bisect_right(scalars, (end - 1, math.inf))
        first = after
        while first and scalars[first - 1][1] > start:
            first -= 1
        return scalars[first:after]


class _Placing:
    """Attaches each comment to the entry or collection it belongs to."""

    def __init__(self, document: Document, reading: _Reading) -> None:
        self.document, self.reading = document, reading
        self.spots = reading.spots
        self.starts = [spot.start for spot in self.spots]

    def place(self) -> None:
        """Attach all comments; those on their own lines in runs, from one entry to the next."""
        run: list[_Comment] = []
        for comment in self.reading.comments():
            if run and self._find_next(run[0]) != self._find_next(comment):
                self._place_run(run)
                run = []
            if comment.alone or not self._place_beside(comment):
                run.append(comment)
        if run:
            self._place_run(run)

    def _find_next(self, comment: _Comment) -> tuple[int, _Holder | None]:
        """Return the index of the next entry, and the innermost brackets that close before it."""
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
        """Attach a run of comments to the value above or below it."""
        index, brackets = self._find_next(run[0])
        following = self.spots[index] if index < len(self.spots) else None
        around_previous = self.spots[index - 1].around if index else ()
        next_column = following.column if following else -1  # at the end every block is over
        ended_blocks = [
            holder
            for holder in around_previous
            if holder.column > next_column and not holder.brackets
        ]
        # While comments are indented deeper than the next entry they belong to the block above;
        # from the first one that is not, all belong to the next entry.
        belongs_above = True
        after_blank_line = False
        for comment in run:
            if not comment.text:
                after_blank_line = True
                continue
            belongs_above = belongs_above and comment.alone and comment.column > next_column
            if brackets is not None:
                target = brackets.collection.tail
            elif belongs_above and ended_blocks:
                inner = [holder for holder in ended_blocks if holder.column <= comment.column]
                target = (inner[-1] if inner else ended_blocks[0]).collection.tail
            else:
                target = self._find_above(following, index)
            target += ["", comment.text] if after_blank_line else [comment.text]
            after_blank_line = False
        if after_blank_line and following is not None and brackets is None:
            self._find_above(following, index).append("")

    def _find_above(self, following: _Spot | None, index: int) -> list[str]:
        """Return the list for comments above an entry; above the first, the head of the file."""
        if following is None:
            return self.document.root.tail
        return self.document.head if index == 0 else following.entry.before

    def _place_beside(self, comment: _Comment) -> bool:
        """Attach a comment to the entry that ends, or begins, on its line; return False if none."""
        line_start = self.reading.lines[comment.line]
        earlier_spots = self.spots[: bisect_right(self.starts, comment.offset)]
        ended_here = [s for s in earlier_spots if line_start < s.end <= comment.offset]
        begun_here = [s for s in earlier_spots if s.start >= line_start]
        if ended_here:
            entry = max(ended_here, key=lambda spot: spot.end).entry
        elif begun_here:
            entry = begun_here[-1].entry
        else:
            return False
        # There is room for one comment beside an entry; a second one goes above it.
        if entry.beside is None:
            entry.beside = comment.text
        else:
            entry.before.append(comment.text)
        return True
