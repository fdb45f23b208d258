"""Find texts in a note that may identify a person: phone numbers, addresses, serial numbers.

The result is a warning. The patterns match the usual forms of telephone numbers, mail and street
addresses and serial numbers, and let readings, dates and part numbers pass.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from ...schema.note import Note

_STREETS: Final = "street|road|lane|avenue|crescent|terrace|boulevard|rd|st\\."
# These are words of the bench too (a line drive, a square wave): a street only after a name.
_AMBIGUOUS_STREETS: Final = "[Dd]rive|[Cc]lose|[Ww]ay|[Ss]quare|[Cc]ourt|[Gg]ardens"
# Notes are full of figures, so each pattern needs a mark of its own: a plus, a leading zero, a
# word before it. Common practice: the usual forms in several countries.
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
    """A text in a note that may identify a person or one set."""

    field: str
    """Name of the note's field."""
    kind: str
    """``telephone number`` and the like."""
    found: str
    """The text itself."""

    def __str__(self) -> str:
        return f"{self.field}: {self.found!r} looks like a {self.kind}"


def find_personal_data(note: Note) -> tuple[PersonalData, ...]:
    """Return every text of a note that looks personal, in the order of its fields."""
    return tuple(
        PersonalData(field, kind.removesuffix(" after its word"), match[0].strip())
        for field, text in _yield_texts(note)
        for kind, match in _yield_matches(text)
    )


def _yield_matches(text: str) -> Iterator[tuple[str, re.Match[str]]]:
    """Yield the matches of all patterns, without those that overlap an earlier one."""
    earlier: list[re.Match[str]] = []
    for kind, pattern in _PATTERNS.items():
        for match in pattern.finditer(text):
            if all(
                match.end() <= other.start() or other.end() <= match.start() for other in earlier
            ):
                earlier.append(match)
                yield kind, match


def _yield_texts(note: Note) -> Iterator[tuple[str, str]]:
    """Yield name and text of each field that people write, and of each caption."""
    for field in (
        *("chassis", "set_name", "meter", "probe", "scope"),
        *("symptom", "failure", "proof", "cure", "text", "reason"),
    ):
        if value := getattr(note, field):
            yield field, value
    for attachment in note.attachments:
        if attachment.caption:
            yield "caption", attachment.caption
