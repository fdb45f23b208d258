"""Check part numbers, and name the file of a part."""

from __future__ import annotations

from typing import Final

from ...schema.errors import Unusable
from ...schema.text import part_key, visible

_LONGEST: Final = 80


class PartError(Unusable):
    """The text cannot be a part number."""


def check_part(part: str) -> str:
    """Return the part number without surrounding blanks; raises PartError.

    Slashes and dots are allowed in part numbers, though not in file names.
    """
    part = part.strip()
    if len(part) > _LONGEST:
        raise PartError(f"a part number of {len(part)} signs is too long; use at most {_LONGEST}")
    if visible(part) != part or not part_key(part):
        remedy = "leave out control signs" if part_key(part) else "use letters or digits"
        raise PartError(f"{visible(part)!r} is not a part number; {remedy}")
    return part


def make_file_name(part: str) -> str:
    """Return the file name of a part: only its letters and digits, so that it cannot be a path.

    >>> make_file_name("../QZ-5710/N")
    'qz5710n.yaml'
    """
    return f"{part_key(part).lower() or 'chip'}.yaml"
