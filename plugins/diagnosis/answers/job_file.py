"""A fault-finding job as a text file, which can be interrupted and resumed.

One entry a line: its sort, a colon, and the text as the command line takes it::

    part: MDQ3724
    condition: colour bars
    symptom: no green
    reading: 2 vpp=0.01Vpp

Empty lines and comments, which start with ``#``, are kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from rapidfuzz import process

from ....loaders.errors import Fault, InvalidFileError
from ....loaders.system.atomic_write import write_atomically
from ....schema import Chip
from ....schema.chips.lookup import find_condition
from ....schema.text import part_key
from ...readings.places import list_spaced_names
from ...readings.reading_list import split_refusal
from ...readings.reading_syntax import read_line
from ..evidence.observations import check_place
from ..symptoms.catalogue import find_symptom, list_known_symptoms

_KEYS: Final = ("part", "condition", "symptom", "reading")
_ONCE: Final = ("part", "condition")
MOST_BYTES: Final = 1_000_000
_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio


class JobFileError(InvalidFileError):
    """The faults of a job file."""


@dataclass(frozen=True)
class JobFile:
    """A job as its file holds it."""

    lines: tuple[str, ...]

    @property
    def condition(self) -> str | None:
        """The state of the set while measuring, where it is written."""
        return next(iter(self._list_texts("condition")), None)

    @property
    def symptoms(self) -> tuple[str, ...]:
        """The complaint: symptoms of the set."""
        return self._list_texts("symptom")

    @property
    def readings(self) -> tuple[str, ...]:
        """The readings in the order they were taken, each as ``--reading`` takes it."""
        return self._list_texts("reading")

    @property
    def text(self) -> str:
        """The lines of the file, in order."""
        return "".join(f"{line}\n" for line in self.lines)

    def add_lines(self, key: str, texts: Sequence[str]) -> JobFile:
        """Return the job with further lines of one sort; lines it has already are not repeated."""
        tidy = dict.fromkeys(" ".join(text.split()) for text in texts)
        new = [text for text in tidy if text not in self._list_texts(key)]
        return JobFile((*self.lines, *(f"{key}: {text}" for text in new)))

    def add_reading(self, reading: str) -> JobFile:
        """With one more reading."""
        return JobFile((*self.lines, f"reading: {' '.join(reading.split())}"))

    def drop_last_reading(self) -> JobFile:
        """As it was before the last reading; itself when there is none."""
        reading_lines = [
            place for place, line in enumerate(self.lines) if _split_line(line)[0] == "reading"
        ]
        return (
            JobFile((*self.lines[: reading_lines[-1]], *self.lines[reading_lines[-1] + 1 :]))
            if reading_lines
            else self
        )

    def _list_texts(self, key: str) -> tuple[str, ...]:
        parted = (_split_line(line) for line in self.lines)
        return tuple(text for found, text in parted if found == key)


def begin_job(chip: Chip, condition: str) -> JobFile:
    """A job on which nothing has been read yet."""
    return JobFile((f"part: {chip.part}", f"condition: {condition}"))


def keep_job(job: JobFile, path: Path) -> None:
    """Replace the file atomically. Raises OSError."""
    write_atomically(path, job.text)


def read_job(data: bytes, name: str, chip: Chip) -> JobFile:
    """Return a job on ``chip`` from a file's bytes; ``name`` is the file's name in messages.

    Raises JobFileError.
    """
    lines = _decode(data, name).splitlines()
    faults = list(_find_faults(lines, name, chip))
    if faults:
        raise JobFileError(tuple(faults))
    return JobFile(tuple(lines))


def _decode(data: bytes, name: str) -> str:
    if len(data) > MOST_BYTES:
        raise JobFileError((Fault(name, 1, 1, "more than 1 MB", "the few lines of a job"),))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as refused:
        line = data[: refused.start].count(b"\n") + 1
        fault = Fault(name, line, 1, "bytes that are not UTF-8", "text saved as UTF-8")
        raise JobFileError((fault,)) from None


def _split_line(line: str) -> tuple[str, str]:
    """Return the sort of a line, and its text; both empty for a remark."""
    if line.lstrip().startswith("#") or not line.strip():
        return "", ""
    key, _, text = line.partition(":")
    return key.strip().casefold(), text.strip()


def _find_faults(lines: Sequence[str], name: str, chip: Chip) -> Iterator[Fault]:
    """Yield the faults of a job file's lines, in their order."""
    seen_keys: set[str] = set()
    for number, line in enumerate(lines, 1):
        key, text = _split_line(line)
        is_remark = not key and not text and not line.strip().startswith(":")
        if is_remark:
            continue
        error = _check_line(key, text, line, chip)
        # A job has one chip and one condition; symptoms and readings may be many.
        if error is None and key in _ONCE and key in seen_keys:
            error = f"a second {key}", f"one line '{key}:'", None
        seen_keys.add(key)
        if error is not None:
            yield Fault(name, number, 1, *error)
    if "part" not in seen_keys:
        yield Fault(name, 1, 1, "no part", "a line that names it", f"part: {chip.part}")


def _check_line(key: str, text: str, line: str, chip: Chip) -> tuple[str, str, str | None] | None:
    """Return the error for a wrong line: the text found, the form expected, and a remedy."""
    if key not in _KEYS:
        nearest = process.extractOne(key, _KEYS, score_cutoff=_CLOSE_ENOUGH)
        expected = ", ".join(f"'{known_key}:'" for known_key in _KEYS)
        form = f"a line that starts with {expected}"
        return repr(line.strip()), form, nearest and f"{nearest[0]}:"
    try:
        if key == "condition":
            find_condition(chip, text)
        elif key == "symptom":
            find_symptom(chip, text)
        elif key == "reading":
            check_place(chip, read_line(text, list_spaced_names(chip)))
        # A job file taken to the wrong chip would mislead without a word.
        elif part_key(text) != part_key(chip.part):
            return f"part {text!r}", f"{chip.part}, which is asked about", None
    except LookupError as unknown:
        return _name_unknown(key, text, str(unknown), chip)
    except ValueError as refused:
        return *split_refusal(refused), None
    return None


def _name_unknown(key: str, text: str, told: str, chip: Chip) -> tuple[str, str, str | None]:
    """A name that this chip does not have, with those it has."""
    names = {
        "condition": [condition.name for condition in chip.conditions],
        "symptom": [symptom.name for symptom in list_known_symptoms(chip)],
    }.get(key)
    if names is None:
        return told, "a pin or a point of this chip", None
    near = process.extractOne(text, names, score_cutoff=_CLOSE_ENOUGH)
    return f"{key} {text!r}", f"one of {', '.join(names)}", near and f"{key}: {near[0]}"
