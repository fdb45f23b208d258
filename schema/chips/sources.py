"""Where a value comes from: every value in a chip file names its source."""

from ..model import Identifier, Model, Text, Whole, Word
from ..vocabulary import SourceKind


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
    date: Word | None = None
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
