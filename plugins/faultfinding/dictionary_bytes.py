"""What is worked out of a chip, as the bytes that a folio keeps: names as JSON, then numbers.

All is packed by zlib: one line of JSON with a newline, then little-endian 4-byte floats, volts of
each point next to each other, since most failures move few of them. NaN is "no signal here".
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Chip
from ...schema.chips.limits import Limits
from .failures import Effect, Failure, FaultDictionary
from .points import Point
from .set_off import SetOff
from .worked_out import WorkedOut, work_out, working_condition

Numbers = NDArray[np.float64]

_FORMAT: Final = 1
_MOST_BYTES: Final = 50_000_000  # unpacked; a large chip has half a megabyte
_FLOAT: Final = np.dtype("<f4")


def dictionary_bytes(chip: Chip) -> bytes | None:
    """The fault dictionary of a chip in its working condition; None without parts around it."""
    if not chip.application.parts:
        return None
    return packed(work_out(chip, working_condition(chip)))


def packed(known: WorkedOut) -> bytes:
    """What was worked out, as bytes."""
    dictionary, off = known.dictionary, known.off
    names = tuple(dictionary.healthy)
    told = {
        "format": _FORMAT,
        "condition": dictionary.condition,
        "names": names,
        "failures": [[f.ref, f.kind, f.mode] for f in dictionary.failed],
        "points": [point.at for point in off.points],
        "limits": [asdict(limits) for limits in off.limits],
        "failures_off": [[f.ref, f.kind, f.mode] for f in off.failed],
    }
    effects = [dictionary.healthy, *dictionary.failed.values()]
    volts = [
        [_number(value) for effect in effects for value in (effect[name].dc_v, effect[name].vpp_v)]
        for name in names
    ]
    ohms = np.array([off.healthy, *off.failed.values()]).T
    floats = [np.array(volts, dtype=_FLOAT).tobytes(), ohms.astype(_FLOAT).tobytes()]
    return zlib.compress(json.dumps(told).encode() + b"\n" + b"".join(floats), 9)


def unpacked(data: bytes) -> WorkedOut | None:
    """What ``packed`` made; None for bytes of another version, which are worked out anew."""
    try:
        unpacking = zlib.decompressobj()
        head, _, floats = unpacking.decompress(data, _MOST_BYTES).partition(b"\n")
        if not unpacking.eof:
            return None
        told: dict[str, Any] = json.loads(head)
        if told["format"] != _FORMAT:
            return None
        return _read(told, np.frombuffer(floats, dtype=_FLOAT).astype(np.float64))
    except (zlib.error, ValueError, KeyError, TypeError):
        return None


def _read(told: dict[str, Any], numbers: Numbers) -> WorkedOut:
    names, failed = told["names"], [Failure(*one) for one in told["failures"]]
    count = len(names) * (1 + len(failed)) * 2
    volts = numbers[:count].reshape(len(names), 1 + len(failed), 2)
    healthy, *others = _effects(names, volts)
    dictionary = FaultDictionary(told["condition"], healthy, dict(zip(failed, others, strict=True)))
    return WorkedOut(dictionary, _read_off(told, numbers[count:]))


def _read_off(told: dict[str, Any], numbers: Numbers) -> SetOff:
    points = tuple(Point(at, "resistance") for at in told["points"])
    failed = [Failure(*one) for one in told["failures_off"]]
    ohms = numbers.reshape(len(points), 1 + len(failed)).T
    healthy, *others = (tuple(row) for row in ohms.tolist())
    limits = tuple(Limits(**one) for one in told["limits"])
    return SetOff(points, limits, healthy, dict(zip(failed, others, strict=True)))


def _effects(names: Iterable[str], volts: Numbers) -> Iterator[dict[str, Effect]]:
    for each in volts.transpose(1, 0, 2).tolist():
        yield {
            name: Effect(_none(dc_v), _none(vpp_v))
            for name, (dc_v, vpp_v) in zip(names, each, strict=True)
        }


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _none(value: float) -> float | None:
    return None if value != value else value
