"""Ask the package about captures, and count the answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from random import Random
from typing import Any, Final

import numpy as np
from pinfolio.data_demo import chip_files
from pinfolio.loaders.captures.capture import Capture
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.readings.capture_check import check_capture
from pinfolio.plugins.readings.places import find_test_point
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.reading import Reading

from .composite import Composite
from .defects import Defect, list_defects
from .instrument import Recording, record
from .places import PLACES, Place
from .standards import PAL

SIZES: Final = (1_000, 10_000, 100_000)
AS_EXPECTED, CANNOT_TELL, CRASHED = "as expected", "cannot tell", "crashed"
TOO_LITTLE: Final = ("too short", "only field blanking")
"""Names that blame the record, not the signal."""


@dataclass(frozen=True)
class Answer:
    """One judged capture."""

    place: Place
    defect: Defect | None
    how: Recording
    document: dict[str, Any]

    @property
    def verdict(self) -> str:
        return str(self.document["verdict"])

    @property
    def names(self) -> list[str]:
        """Names of the defects that were reported."""
        return [d["name"] for d in (self.document.get("capture") or {}).get("defects", ())]

    @property
    def is_found(self) -> bool:
        """Whether the pin is blamed, or a defect reported that is more than a short record."""
        return self.verdict not in (AS_EXPECTED, CANNOT_TELL, CRASHED) or any(
            name not in TOO_LITTLE for name in self.names
        )

    @property
    def is_named(self) -> bool:
        """Whether the defect is found, and a name or a reason has one of its words."""
        if self.defect is None or not self.is_found:
            return False
        reasons = [
            why for why in self.document["why"] if "is within" not in why and "cannot be" not in why
        ]
        said = " / ".join([self.verdict, *self.names, *reasons]).lower()
        return any(word in said for word in self.defect.words)

    @property
    def can_show(self) -> bool:
        return self.defect is not None and self.defect.shows(self.place, self.how)

    @property
    def meets_field_blanking(self) -> bool:
        """Whether the record holds a line of field blanking."""
        lines_a_field = (525 if self.place.line_hz > PAL.line_hz else 625) / 2
        start = self.how.start_s * self.place.line_hz % lines_a_field
        end = start + self.how.duration_s * self.place.line_hz
        return start < 23 or end > lines_a_field - 3


@cache
def load_demo_chip(stem: str) -> Chip:
    """Return a chip of the demonstration by the name of its file."""
    return load_chip(next(path for path in chip_files() if path.stem == stem))


def ask(place: Place, capture: Capture) -> dict[str, Any]:
    """Return the document that ``pinfolio check PART PIN --capture FILE --json`` prints.

    A crash is an answer as well: the verdict is then "crashed".
    """
    chip = load_demo_chip(place.chip)
    pin = find_test_point(chip, place.pin)
    chosen = BUILT_IN.choose()
    try:
        return check_capture(chip, pin, capture, Reading(), chosen, place.condition).document()
    except Exception as error:
        return {"verdict": CRASHED, "why": [repr(error)]}


def judge_defects(seed: int, places: Iterable[Place] = PLACES) -> Iterator[Answer]:
    """Yield the answer to each defect of each pin in each size of record."""
    for place in places:
        for defect in list_defects(place):
            for samples in SIZES:
                yield judge_defect(place, defect, samples, seed)


def judge_defect(place: Place, defect: Defect, samples: int, seed: int) -> Answer:
    """Return the answer to one capture; the record begins in the picture, just before a line."""
    chance = Random(f"{seed} {place.name} {defect.title} {samples}")
    line_s = 1 / place.line_hz
    base = Recording(
        samples,
        chance.choice((defect.rates or place.rates)[samples]),
        start_s=(chance.randint(60, 150) - 0.1) * line_s,
        seed=chance.randrange(2**32),
    )
    how = Recording(**{**vars(base), **defect.way})
    signal = defect.spoil(place.signal)
    if hasattr(signal, "seed"):
        signal = type(signal)(**{**vars(signal), "seed": how.seed})
    capture = record(signal.volts, place.find_offset_v(signal), place.vpp, how)
    return Answer(place, defect, how, ask(place, capture))


def judge_good(seed: int, number: int, places: tuple[Place, ...] = PLACES) -> Iterator[Answer]:
    """Yield answers to good captures of random length, start, noise and instrument."""
    chance = Random(f"good {seed}")
    for count in range(number):
        place = places[count % len(places)]
        size = chance.choice(SIZES)
        how = Recording(
            samples=int(size * chance.uniform(1.0, 2.0)),
            rate_hz=chance.choice(place.rates[size]),
            start_s=chance.uniform(0.0, 0.08),
            seed=chance.randrange(2**32),
            noise_share=10 ** (-chance.uniform(42.0, 60.0) / 20),
            bits=chance.choice((8, 8, 10, 12)),
            gain_error=chance.uniform(-0.015, 0.015),
            clock_error=chance.uniform(-20e-6, 20e-6),
        )
        capture = record(place.signal.volts, place.find_offset_v(place.signal), place.vpp, how)
        yield Answer(place, None, how, ask(place, capture))


def list_deviations(answers: Iterable[Answer]) -> dict[str, list[tuple[float, float, float]]]:
    """Return (error, standard uncertainty, truth) by figure, for good composite captures.

    Figures are the measured ones, with what the oscilloscope's gain and clock made of the truth.
    """
    found: dict[str, list[tuple[float, float, float]]] = {}
    for answer in answers:
        truths = _list_truths(answer.place, answer.how)
        for figure in (answer.document.get("capture") or {}).get("figures", ()):
            if (truth := truths.get(figure["name"])) is not None and figure["measured"] is not None:
                deviation = figure["measured"] - truth
                uncertainty = figure["measured_standard_uncertainty"]
                found.setdefault(figure["name"], []).append((deviation, uncertainty, truth))
    return found


def _list_truths(place: Place, how: Recording) -> dict[str, float]:
    signal = place.signal
    if not isinstance(signal, Composite) or place.sort != "composite":
        return {}
    gain = signal.gain * (1 + how.gain_error)
    return {
        "sync amplitude": gain * signal.sync * signal.system.sync_v,
        "sync width": signal.system.sync_s / (1 + how.clock_error),
        "burst amplitude": gain * signal.burst * signal.system.burst_vpp,
        "line frequency": signal.system.line_hz * (1 + how.clock_error),
        "sync rise time": signal.system.rise_s,
    }


def describe_coverage(rows: list[tuple[float, float, float]]) -> str:
    """Return how often a figure was within twice its standard uncertainty, and how large it is."""
    errors, uncertainties, truths = np.array(rows).T
    within = float(np.mean(np.abs(errors) <= 2 * uncertainties))
    ratio = float(np.median(2 * uncertainties) / max(np.median(np.abs(errors)), 1e-30))
    relative = float(np.median(np.abs(errors / truths)))
    return (
        f"{within:6.1%} of {len(rows)} within twice the uncertainty; "
        f"median expanded uncertainty {ratio:.2f} x median error; median error {relative:.2%}"
    )
