"""What a note had better not carry to another shop: numbers and addresses that lead to somebody.

A warning, not a judgement: the patterns look for what mostly is a telephone number, a mail or
street address or a serial number, and readings, dates and part numbers pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from ...schema.note import Note

_STREETS: Final = "street|road|lane|avenue|crescent|terrace|boulevard|rd|st\\."
# Words of the bench as well (a line drive, a square wave), so a street only after its name.
_AMBIGUOUS_STREETS: Final = "[Dd]rive|[Cc]lose|[Ww]ay|[Ss]quare|[Cc]ourt|[Gg]ardens"
# Each pattern needs a sign of its own (a plus, a leading nought, a word before it), since notes
# are full of figures. Common practice: how these are written in several countries.
_PATTERNS: Final[dict[str, re.Pattern[str]]] = {
    "mail address": re.compile(r"[\w.+-]{1,64}@[\w-]{1,63}(?:\.[\w-]{2,63}){1,5}"),
    "telephone number": re.compile(
        r"""(?<![\w.+/-])(?:
            \+[1-9][0-9]{0,2}(?:[ ./()-]{0,2}[0-9]){6,12}    # with the code of the country
          | \(?0[0-9]{1,5}\)?[ /-]{1,3}[0-9](?:[ /-]?[0-9]){4,9}  # with the code of the town
          | \(?[2-9][0-9]{2}\)?[ .-]{1,2}[0-9]{3}[.-][0-9]{4}     # North American
        )(?!\w|\.[0-9])""",
        re.VERBOSE,
    ),
    "telephone number after its word": re.compile(
        r"(?i)\b(?:tel|phone|telephone|mobile|fax|call|ring)\b"
        r"[^0-9\n]{0,15}[0-9](?:[ /-]?[0-9]){4,13}"
    ),
    "street address": re.compile(
        rf"""(?i:\b[0-9]{{1,4}}[a-z]?,?\ (?:[a-z]{{3,20}}\ ){{1,3}}(?:{_STREETS})(?![a-z]))
           | \b[0-9]{{1,4}},?\ (?:[A-Z][a-z]{{2,20}}\ ){{1,3}}(?:{_AMBIGUOUS_STREETS})(?![a-z])
           | (?i:\b[a-zäöüß]{{3,20}}(?:straße|strasse|str\.|gasse|weg|platz|allee)\ [0-9]{{1,4}}\b)
           | (?i:\b(?:rue|via|calle|avenida)\ (?:[a-zà-ÿ']{{2,20}}\ ){{1,4}}[0-9]{{1,4}}\b)""",
        re.VERBOSE,
    ),
    "serial number": re.compile(
        r"(?i)(?:\bserial (?:number|no\.?|nr\.?)|\bser\. ?no\.?|\bs/n)"
        r"[ :#.]{0,3}[a-z0-9-]{0,6}[0-9][a-z0-9-]{2,20}"
    ),
}


@dataclass(frozen=True)
class PersonalData:
    """Something in a note that looks as if it led to a person or to one set."""

    field: str
    """Name of the note's field it stands in."""
    what: str
    """What it looks like."""
    found: str
    """The text itself."""

    def __str__(self) -> str:
        return f"{self.field}: {self.found!r} looks like a {self.what}"


def find_personal_data(note: Note) -> tuple[PersonalData, ...]:
    """Everything in the texts of a note that looks personal, in the order of its fields."""
    return tuple(
        PersonalData(field, what.removesuffix(" after its word"), match[0].strip())
        for field, text in _yield_texts(note)
        for what, match in _yield_matches(text)
    )


def _yield_matches(text: str) -> Iterator[tuple[str, re.Match[str]]]:
    """Each match that does not lie in one found before it."""
    taken: list[re.Match[str]] = []
    for what, pattern in _PATTERNS.items():
        for match in pattern.finditer(text):
            if all(match.end() <= other.start() or other.end() <= match.start() for other in taken):
                taken.append(match)
                yield what, match


def _yield_texts(note: Note) -> Iterator[tuple[str, str]]:
    for field in ("chassis", "meter", "probe", "scope", "symptom", "failure", "cure", "text"):
        if value := getattr(note, field):
            yield field, value
    for attachment in note.attachments:
        if attachment.caption:
            yield "caption", attachment.caption
