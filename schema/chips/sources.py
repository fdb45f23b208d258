"""Where a value comes from: every value in a chip file names its source."""

import re
from typing import Annotated

from pydantic import AfterValidator

from ..model import Identifier, Model, Text, Whole, Word
from ..vocabulary import SourceKind


def _check_month(date: str) -> str:
    """Return the date; raise ValueError for a month or day that no calendar has (ISO 8601)."""
    numbers = re.fullmatch(r"[0-9]{4}-([0-9]{1,2})(?:-([0-9]{1,2}))?", date)
    if numbers is not None and not (1 <= int(numbers[1]) <= 12 and 1 <= int(numbers[2] or 1) <= 31):
        raise ValueError(f"{date} is no date; write year, year-month or year-month-day: 1992-11")
    return date


class Source(Model):
    """A data sheet, a bench, a calculation or an estimate that values are taken from."""

    id: Identifier
    """The short name that values refer to."""
    kind: SourceKind
    """Kind of source."""
    title: Text
    """Title of the document, or who measured or calculated."""
    revision: Word | None = None
    """Revision or issue of the document."""
    date: Annotated[Word, AfterValidator(_check_month)] | None = None
    """Date of the document or of the work, as year, year-month or year-month-day."""


class SourceReference(Model):
    """The place in a source that one value was read at."""

    id: Identifier
    """Id of one of the chip's sources."""
    page: Whole | None = None
    """Page of the document."""
    sets: Whole | None = None
    """Number of sets measured."""
    note: Text | None = None
    """Anything else needed to find or to trust the value."""
