"""A shop's own odds of what fails: a YAML file of the same form as those that come with us.

Only what differs need be written; the rest stays as it is::

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

FILE: Final = "odds.yaml"
_MOST_BYTES: Final = 100_000
_MOST: Final = 1e6
_CLOSE_ENOUGH: Final = 60  # of 100, rapidfuzz ratio

Odds = dict[str, Any]
"""Numbers by name, some of them in groups."""


class OddsFileError(InvalidFileError):
    """The faults of a shop's odds."""


def shop_odds(folder: Path, usual: Odds) -> Odds | None:
    """The usual odds with those of the shop's folder in their place; None where it has none.

    Raises OddsFileError.
    """
    path = folder / FILE
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        return None
    except OSError as refused:
        found = refused.strerror or "an error"
        raise OddsFileError((Fault(str(path), 1, 1, found, "a readable file"),)) from None
    return read_odds(data, str(path), usual)


def read_odds(data: bytes, name: str, usual: Odds) -> Odds:
    """The usual odds with those of a file's bytes in their place; ``name`` stands for the file.

    Raises OddsFileError with every fault, each with its line and the nearest name.
    """
    if len(data) > _MOST_BYTES:
        fault = Fault(name, 1, 1, "more than 100 kB", "a short text file")
        raise OddsFileError((fault,))
    try:
        located = read_yaml(data, name, "odds", "parts:")
    except ChipFileError as refused:
        raise OddsFileError(refused.faults) from None
    faults = tuple(_faults(located, (), usual))
    if faults:
        raise OddsFileError(faults)
    return _merged(usual, located.data)


def _faults(located: Located, path: tuple[Key, ...], usual: Odds) -> Iterator[Fault]:
    """What is wrong at a place and below it, where these names are known."""
    group = located.at(path) if path else located.data
    if not isinstance(group, dict):
        place = located.place(path)
        yield Fault(located.name, *place, repr(group), f"lines such as '{next(iter(usual))}: 2'")
        return
    for key, value in group.items():
        below = (*path, key)
        if key not in usual:
            near = process.extractOne(key, list(usual), score_cutoff=_CLOSE_ENOUGH)
            expected = "one of " + ", ".join(usual)
            place = located.place(below, of_key=True)
            yield Fault(located.name, *place, repr(key), expected, near[0] if near else None)
        elif isinstance(usual[key], dict):
            yield from _faults(located, below, usual[key])
        elif _number(value) is None:
            place = located.place(below)
            expected = f"a number above 0, such as {usual[key]}"
            yield Fault(located.name, *place, repr(value), expected)


def _number(value: Any) -> float | None:
    """Relative odds: above nothing and not beyond reason."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) and 0 < number <= _MOST else None


def _merged(usual: Odds, own: dict[str, Any]) -> Odds:
    """The usual ones with the shop's in their place."""
    return usual | {
        key: _merged(usual[key], value) if isinstance(usual[key], dict) else float(value)
        for key, value in own.items()
    }
