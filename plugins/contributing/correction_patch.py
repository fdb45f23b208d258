"""A correction note as a patch of its chip file, for a person and lint to accept."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import unified_diff
from itertools import chain, count

from ...loaders.chip_files.chip_file import read_chip
from ...loaders.chip_files.value_edits import append_item, put_value
from ...loaders.chip_files.yaml_comments import Scalar
from ...loaders.chip_files.yaml_layout import format_scalar
from ...loaders.errors import ChipFileError
from ...schema import Chip
from ...schema.chips.sources import SourceReference
from ...schema.note import Note
from ...schema.quantities.spelling import respell_quantity
from ...schema.rules import advise
from .correction import CannotPropose, Correction, find_correction

_LONGEST_HANDLE = 36  # of the 40 signs of a source's id, so that a number may follow


@dataclass(frozen=True)
class CorrectionPatch:
    """The patch that a correction note makes of a chip file."""

    correction: Correction
    text: str
    """The chip file as it would be."""
    diff: str
    """The unified diff."""
    advice: tuple[str, ...]
    """Advice of lint on the new file that the old one did not have."""


def propose_patch(data: bytes, name: str, note: Note) -> CorrectionPatch:
    """Return the patch of the chip file ``data`` that a note makes; ``name`` is the file.

    The new value, the shop as a source and the expectation's reference to it are put in; every
    other character stays. Raises ChipFileError for a chip file with faults, CannotPropose where
    the note changes nothing, or would break a rule.
    """
    chip = read_chip(data, name)
    correction = find_correction(chip, note)
    old_text = data.decode("utf-8-sig")
    new_text = old_text
    for change in correction.changes:
        written = respell_quantity(change.read.text, change.read.unit)
        new_text = put_value(new_text, change.path, _write_scalar(written))
    source_id, new_text = _put_source(new_text, chip, note)
    reference = _write_map(_list_reference_fields(correction, source_id))
    new_text = put_value(new_text, (*correction.place, "source"), reference)
    try:
        corrected_chip = read_chip(new_text.encode(), name)
    except ChipFileError as refused:
        raise CannotPropose(
            f"the note {note.id} would break a rule of the chip file: {refused.faults[0].message}"
            f" in {name}; correct the note or edit the chip file"
        ) from None
    old_advice = {finding.message for finding in advise(chip)}
    new_advice = (finding.message for finding in advise(corrected_chip))
    # A byte order mark stays, or the first line of the patch would not match the file.
    mark = "\ufeff" if data.startswith(codecs.BOM_UTF8) else ""
    return CorrectionPatch(
        correction=correction,
        text=mark + new_text,
        diff="".join(_compare(mark + old_text, mark + new_text, name)),
        advice=tuple(message for message in new_advice if message not in old_advice),
    )


def _put_source(text: str, chip: Chip, note: Note) -> tuple[str, str]:
    """Return the id of the shop's source and the text with it; one of the same day serves again."""
    title = f"Notes of the shop {note.shop}"
    for source in chip.sources:
        if (source.kind, source.title, source.date) == ("measured", title, note.date):
            return source.id, text
    handle = note.shop[:_LONGEST_HANDLE].rstrip("-")
    taken_ids = {source.id for source in chip.sources}
    free_ids = chain([handle], (f"{handle}-{number}" for number in count(2)))
    source_id = next(free_id for free_id in free_ids if free_id not in taken_ids)
    fields = [("id", source_id), ("kind", "measured"), ("title", title), ("date", note.date)]
    return source_id, append_item(text, ("sources",), _write_map(fields))


def _list_reference_fields(correction: Correction, source_id: str) -> Iterator[tuple[str, str]]:
    """Yield the fields of the reference: the shop, its sets, the note, and the earlier source.

    An expectation has one source; where it states more than the note corrects, the remark names
    the source of the rest.
    """
    note, expectation = correction.note, correction.expectation
    changed_names = [change.name for change in correction.changes]
    remark = f"{' and '.join(changed_names)} by note {note.id}"
    if note.chassis:
        remark += f" on {note.chassis}"
    has_only_dc = expectation.waveform is None and expectation.resistance is None
    if not has_only_dc or changed_names != ["DC"]:
        remark += f"; the rest: {_describe_reference(expectation.source)}"
    yield "id", source_id
    yield "sets", str(note.sets)
    yield "note", remark


def _describe_reference(source: SourceReference) -> str:
    page = f"page {source.page}" if source.page is not None else ""
    sets = f"sets {source.sets}" if source.sets is not None else ""
    return ", ".join(word for word in (source.id, page, sets, source.note) if word)


def _write_map(fields: Iterable[tuple[str, str]]) -> str:
    return "{" + ", ".join(f"{key}: {_write_scalar(text)}" for key, text in fields) + "}"


def _write_scalar(text: str) -> str:
    return format_scalar(Scalar(text), in_brackets=True)


def _compare(before: str, after: str, name: str) -> Iterator[str]:
    """Yield the lines of the unified diff; lines end at newlines only, as ``patch`` reads them."""
    old, new = (re.findall("[^\n]*\n|[^\n]+", text) for text in (before, after))
    for line in unified_diff(old, new, name, name):
        yield line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n"
