"""Hunt every fault of some boards and say how often the command was right."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from .bench import Bench, Shown
from .drawn_chip import DrawnChip
from .faults import Fault, things_to_name
from .hunt import NOT_NAMED, Found, build_folio, hunt, known_symptoms

SURE = 0.9
_BINS = (0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97, 1.01)


@dataclass(frozen=True)
class Boards:
    """A chip, the possible faults of its boards, and the simulation of a board with a fault."""

    chip: DrawnChip
    faults: Sequence[Fault]
    simulate: Callable[[int, Fault], Shown]


@dataclass(frozen=True)
class Hunted:
    """One fault and how its hunt ended; ``error`` when it broke, which counts as a miss."""

    chip: str
    fault: Fault
    symptoms: tuple[str, ...]
    found: Found
    error: str = ""

    @property
    def was_first(self) -> bool:
        """Whether the first suspect was right."""
        return self.found.rank == 1


def hunt_all(
    boards: Boards, folder: Path, seed: int, numbers: Iterable[int] | None = None
) -> Iterator[Hunted]:
    """Yield the hunt of every fault, or of those numbered; fault ``n`` has the seed plus ``n``."""
    folio = build_folio(boards.chip, folder)
    for number in range(len(boards.faults)) if numbers is None else numbers:
        fault = boards.faults[number]
        symptoms: list[str] = []
        shown = boards.simulate(seed + number, fault)
        error = ""
        try:
            symptoms = known_symptoms(folio, boards.chip, shown.symptoms)
            bench = Bench(shown, seed + number)
            right = things_to_name(fault, boards.chip)
            found = hunt(folio, boards.chip, bench, symptoms, right)
        except Exception as broken:  # whatever breaks in the program is a miss, and is counted
            error = repr(broken)[:300]
            found = Found(NOT_NAMED, ("none", ""), 0.0, 0.0, (), False, "", 0.0)
        yield Hunted(boards.chip.name, fault, tuple(symptoms), found, error)


def print_totals(hunts: Sequence[Hunted]) -> None:
    """Print the totals: by chip, all, with a symptom, by sort of fault, and the calibration."""
    for broken in (one for one in hunts if one.error):
        print(f"error {broken.chip} {broken.fault.title}: {broken.error}")
    for name in dict.fromkeys(one.chip for one in hunts):
        print(total_line(name, [one for one in hunts if one.chip == name]))
    print(total_line("all", hunts))
    print(total_line("with a symptom", [one for one in hunts if one.symptoms]))
    for sort in sorted({one.fault.sort for one in hunts}):
        print(total_line("  " + sort, [one for one in hunts if one.fault.sort == sort]))
    print(f"first suspect: calibration error {calibration_error(hunts) * 100:.0f} points")
    for said, was, number in calibration_bins(hunts):
        print(f"  said {said:.2f}, was {was:.2f} ({number})")


def total_line(title: str, hunts: Sequence[Hunted]) -> str:
    """Return one line of totals."""
    if not hunts:
        return f"{title:24}    0"
    number = len(hunts)
    first = sum(one.was_first for one in hunts) / number
    three = sum(one.found.rank <= 3 for one in hunts) / number
    readings = sum(len(one.found.readings) for one in hunts) / number
    unfinished = sum(not one.found.finished for one in hunts) / number
    sure = [one for one in hunts if one.found.first_probability > SURE]
    wrong = sum(not one.was_first for one in sure)
    return (
        f"{title:24} {number:4}  first {first:5.0%}  first three {three:5.0%}  "
        f"readings {readings:4.1f}  said > {SURE}: {len(sure)}, wrong {wrong}  "
        f"unfinished {unfinished:4.0%}"
    )


def calibration_bins(hunts: Sequence[Hunted]) -> list[tuple[float, float, int]]:
    """Return for each bin the mean probability of the first suspect, how often right, how many."""
    bins = []
    for low, high in pairwise(_BINS):
        inside = [one for one in hunts if low <= one.found.first_probability < high]
        if inside:
            said = sum(one.found.first_probability for one in inside) / len(inside)
            bins.append((said, sum(one.was_first for one in inside) / len(inside), len(inside)))
    return bins


def calibration_error(hunts: Sequence[Hunted]) -> float:
    """Return the mean distance between the probability of the first suspect and being right."""
    bins = calibration_bins(hunts)
    return sum(number * abs(said - was) for said, was, number in bins) / max(len(hunts), 1)
