"""What a part may be called, and what the file of a part is called."""

from __future__ import annotations

from typing import Final

from ...schema.errors import Unusable
from ...schema.text import part_key, visible

_LONGEST: Final = 80


class PartError(Unusable):
    """A name that no part can have: found, expected."""


def check_part(part: str) -> str:
    """The part number without blanks around it; raises PartError when it cannot be one.

    Slashes and dots are signs of part numbers like others; only files are named without them.
    """
    part = part.strip()
    if len(part) > _LONGEST:
        found = f"found a part of {len(part)} signs"
        raise PartError(f"{found}, expected a part number of at most {_LONGEST}")
    if visible(part) != part or not part_key(part):
        sort = "without control signs" if part_key(part) else "with letters or digits in it"
        raise PartError(f"found the part {visible(part)!r}, expected a part number {sort}")
    return part


def file_name(part: str) -> str:
    """What to call the file of a part: its letters and digits alone, so that it is no path.

    >>> file_name("../QZ-5710/N")
    'qz5710n.yaml'
    """
    return f"{part_key(part).lower() or 'chip'}.yaml"
