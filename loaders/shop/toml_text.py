"""Read TOML that may be hostile: its parser takes quadratic time for keys of many parts."""

from __future__ import annotations

import tomllib
from typing import Any, Final

_MOST_DOTS: Final = 100  # in a line; a key of ours has one part


def parse_toml(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text; raises ValueError, with the line, for all else."""
    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > _MOST_DOTS:
            raise ValueError(f"more than {_MOST_DOTS} dots in a line (at line {number}, column 1)")
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError("brackets nested too deeply (at line 1, column 1)") from None
