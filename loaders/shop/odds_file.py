"""Read a shop's own failure odds: a YAML file with the structure of the built-in ones.

The file lists only the odds that differ::

    parts:
      electrolytic capacitor: 20
    none of these: 5
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from rapidfuzz import process

from ..chip_files.yaml_positions import Key, Located, read_yaml
from ..errors import ChipFileError, Fault, InvalidFileError
from ..system.regular_files import open_regular

FILE: Final = "odds.yaml"
_MOST_BYTES: Final = 100_000
_MOST_ODDS: Final = 1e6
_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio

Odds = dict[str, Any]
"""Numbers by name, some of them in groups."""


class OddsFileError(InvalidFileError):
    """The faults of a shop's odds file."""


def load_shop_odds(folder: Path, usual: Odds) -> Odds | None:
    """Return the usual odds updated with those of a shop's folder; None if it has no file.

    Raises OddsFileError.
    """
    path = folder / FILE
    try:
        with open_regular(path) as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        found_text = error.strerror or "an error"
        raise OddsFileError((Fault(str(path), 1, 1, found_text, "a readable file"),)) from None
    return parse_odds(data, str(path), usual)


def parse_odds(data: bytes, name: str, usual: Odds) -> Odds:
    """Return the usual odds updated with those in ``data``; ``name`` is the file for messages.

    Raises OddsFileError with every fault, its line and the nearest known name.
    """
    if len(data) > _MOST_BYTES:
        fault = Fault(name, 1, 1, "more than 100 kB", "a short text file")
        raise OddsFileError((fault,))
    try:
        located = read_yaml(data, name, "odds", "parts:")
    except ChipFileError as error:
        raise OddsFileError(error.faults) from None
    faults = tuple(_find_faults(located, (), usual))
    if faults:
        raise OddsFileError(faults)
    return _merge_odds(usual, located.data)


def _find_faults(located: Located, path: tuple[Key, ...], usual: Odds) -> Iterator[Fault]:
    """Yield the faults at and below a place, where ``usual`` has the known names."""
    group = located.at(path) if path else located.data
    if not isinstance(group, dict):
        place = located.place(path)
        yield Fault(located.name, *place, repr(group), f"lines such as '{next(iter(usual))}: 2'")
        return
    for key, value in group.items():
        below = (*path, key)
        if key not in usual:
            nearest = process.extractOne(key, list(usual), score_cutoff=_CLOSE_ENOUGH)
            expected = "one of " + ", ".join(usual)
            place = located.place(below, of_key=True)
            yield Fault(located.name, *place, repr(key), expected, nearest and nearest[0])
        elif isinstance(usual[key], dict):
            yield from _find_faults(located, below, usual[key])
        elif not _is_odds(value):
            place = located.place(below)
            expected = f"a number above 0, such as {usual[key]}"
            yield Fault(located.name, *place, repr(value), expected)


def _is_odds(value: Any) -> bool:
    """Return whether a value is a positive number of a plausible size."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return False
    return math.isfinite(number) and 0 < number <= _MOST_ODDS


def _merge_odds(usual: Odds, own: dict[str, Any]) -> Odds:
    return usual | {
        key: _merge_odds(usual[key], value) if isinstance(usual[key], dict) else float(value)
        for key, value in own.items()
    }
