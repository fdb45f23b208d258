"""Turn readings into observations of a board's points, which can be weighed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from ....schema import Chip, Part, Pin
from ....schema.chips.limits import Limits, find_limits
from ....schema.chips.lookup import UnknownPin
from ....schema.instruments import Instruments
from ....schema.instruments.ordinary import BUILT_IN
from ....schema.reading import BadReading
from ...instruments.oscillator_loading import sum_capacitance_f
from ...readings.conformance import convert_half_width
from ...readings.correction import correct_dc, correct_frequency_at, correct_vpp
from ...readings.places import find_part, find_test_point
from ...readings.reading_syntax import (
    EVERYTHING,
    LOOKED_AT,
    NOTHING,
    RIGHT,
    SKIPPED,
    PartReading,
    PointReading,
    Taken,
    read_items,
)
from ...readings.written_figures import Figure
from .part_tests import PartResult, is_bad, read_part_result

_COUNTED_DIGITS: Final = 1e-5  # who writes down more than this of a frequency has a counter
_LOADING_KINDS: Final = ("resistor", "potentiometer", "coil")
_LEAST_PART_OHM: Final = 1.0
_ORDINARY_COUNTER: Final = BUILT_IN.counters["counter"]
_VERDICTS: Final = ("too low", "too high", "off frequency")
_BAD_JOINT: Final = ("joint bad", "bad", "open")


@dataclass(frozen=True)
class Observation:
    """One quantity read at one point."""

    point: str
    """``pin 7``, or a node's id."""
    quantity: str
    """``dc``, ``vpp``, ``frequency`` or ``ripple``."""
    value: float | None = None
    """On the point with nothing connected; None where only a word was written."""
    uncertainty: float = 0.0
    """Standard uncertainty of the value: instrument, loading, digits written."""
    as_read: float | None = None
    """The figure as the instrument showed it, where its load is thought to matter."""
    verdict: str | None = None
    """``as expected``, ``missing``, ``too low``, ``too high``, ``off frequency`` in place of a
    value."""
    seen: tuple[str, ...] = ()
    is_steady: bool = False
    is_range: bool = False
    line: int = 0
    """Which reading it was taken in: one slip spoils all of a reading."""
    slip: float = 0.01
    """Chance that it says nothing of its point: another pin, probe at x10, a slip of the pen."""


@dataclass(frozen=True)
class Resistance:
    """A resistance read with the set off, between two points or from one to ground."""

    first: str
    second: str
    ohm: float
    share: float
    """Standard uncertainty, relative."""
    line: int = 0


@dataclass(frozen=True)
class Skipped:
    """A measurement that cannot be taken."""

    at: str
    quantity: str


@dataclass(frozen=True)
class JointSoldered:
    """A pin whose joint was soldered again."""

    pin: str
    was_bad: bool = False
    """That cured the set; else it changed nothing."""


@dataclass(frozen=True)
class Evidence:
    """All that was read and found."""

    observations: tuple[Observation, ...] = ()
    resistances: tuple[Resistance, ...] = ()
    parts: tuple[PartResult, ...] = ()
    joints: tuple[JointSoldered, ...] = ()
    skipped: tuple[Skipped, ...] = ()

    @property
    def proved(self) -> tuple[tuple[str, str], ...]:
        """Return the things proved bad: ``("part", "C406")``, ``("joint", "9")``."""
        parts = [("part", result.ref) for result in self.parts if is_bad(result.outcome)]
        joints = [("joint", s.pin.removeprefix("pin ")) for s in self.joints if s.was_bad]
        return tuple(dict.fromkeys([*parts, *joints]))


def gather_evidence(
    chip: Chip, condition: str, readings: Sequence[Taken], chosen: Instruments
) -> Evidence:
    """Return everything that the readings say. Raises UnknownPin, BadReading."""
    evidence = Evidence()
    for line, taken in enumerate(readings):
        evidence = _add_part_reading(evidence, chip, condition, taken, chosen, line)
    return evidence


def check_place(chip: Chip, reading: Taken) -> None:
    """Raise UnknownPin for a reading at an unknown place, BadReading for an impossible one of a
    part."""
    resolved = resolve(chip, reading)
    if isinstance(resolved, PartReading):
        if not resolved.ref.startswith("pin "):
            read_part_result(_find_part(chip, resolved.ref), resolved.found)
        return
    for place in filter(None, (resolved.place, resolved.other)):
        if find_part(chip, place) is None:
            find_point(chip, place)


def resolve(chip: Chip, reading: Taken) -> Taken:
    """Return the reading as it applies to this chip: ``VCC: ok`` is of a pin, not of a part."""
    if not isinstance(reading, PartReading) or find_part(chip, reading.ref) is not None:
        return reading
    if reading.ref.startswith("pin "):
        return reading
    find_test_point(chip, reading.ref)
    point = read_items(reading.ref, reading.found.replace("good", "ok"))
    if point is None:
        raise BadReading(
            f"{reading.ref}: {reading.found!r}"
            f" is a word for a part; write a reading of this point, such as '{reading.ref} dc=3.1V'"
        )
    return replace(point, text=reading.text)


def _add_part_reading(
    found: Evidence, chip: Chip, condition: str, reading: Taken, chosen: Instruments, line: int
) -> Evidence:
    """Return the evidence with one reading more: of a joint, of a part, or of a point."""
    reading = resolve(chip, reading)
    if isinstance(reading, PartReading):
        # Of a pin itself only its joint can be soldered or found bad.
        if reading.ref.startswith("pin "):
            pin = find_point(chip, reading.ref)
            soldered = JointSoldered(pin, reading.found in _BAD_JOINT)
            return replace(found, joints=(*found.joints, soldered))
        result = read_part_result(_find_part(chip, reading.ref), reading.found)
        return replace(found, parts=(*found.parts, result))
    part = find_part(chip, reading.place)
    if part is not None:
        return _add_part_figures(found, chip, part, reading, line)
    point = find_point(chip, reading.place)
    observations = tuple(_read_observations(chip, condition, reading, point, chosen, line))
    resistances = tuple(_read_resistances(chip, reading, point, line))
    skipped = tuple(Skipped(point, quantity) for quantity in reading.skipped)
    return replace(
        found,
        observations=(*found.observations, *observations),
        resistances=(*found.resistances, *resistances),
        skipped=(*found.skipped, *skipped),
    )


def _add_part_figures(
    found: Evidence, chip: Chip, part: Part, taken: PointReading, line: int
) -> Evidence:
    """Return the evidence with a resistance between the leads of a part in circuit.

    With the test of it skipped instead, where it cannot be taken. Raises BadReading for a reading
    that holds neither.
    """
    # A part that cannot be reached is asked about no more.
    if taken.skipped:
        is_across = taken.skipped == ("resistance",)
        skipped_test = Skipped(part.ref, "resistance" if is_across else "out of circuit")
        return replace(found, skipped=(*found.skipped, skipped_test))
    figure = dict(taken.figures).get("resistance")
    if figure is None:
        raise BadReading(
            f"{part.ref}: {taken.text!r} is no reading of a part; write '{part.ref}"
            f" ohms=…' between its leads, or '{part.ref} good', '{part.ref} open' ..."
        )
    resistance = _make_resistance(part.joins[0], part.joins[1], figure, line)
    return replace(found, resistances=(*found.resistances, resistance))


def _read_resistances(
    chip: Chip, taken: PointReading, point: str, line: int
) -> Iterator[Resistance]:
    figure = dict(taken.figures).get("resistance")
    if figure is not None:
        other = find_point(chip, taken.other) if taken.other else "ground"
        yield _make_resistance(point, other, figure, line)


def _make_resistance(first: str, second: str, figure: Figure, line: int) -> Resistance:
    digits = figure.half_digit / max(figure.value, figure.half_digit, 1e-3)
    return Resistance(first, second, figure.value, max(0.01, convert_half_width(digits)), line)


def _read_observations(
    chip: Chip,
    condition: str,
    taken: PointReading,
    point: str,
    chosen: Instruments,
    line: int,
) -> Iterator[Observation]:
    """Yield the observations of voltage, signal and frequency in a reading of a point."""
    place = find_test_point(chip, point)
    common: dict[str, Any] = {"seen": _list_seen(taken), "is_steady": taken.is_steady, "line": line}
    figures = {name: figure for name, figure in taken.figures if name != "resistance"}
    for quantity, figure in figures.items():
        value, uncertainty = correct_figure(chip, place, condition, quantity, figure, chosen)
        # A correction for loading is uncertain itself: the figure as read is kept beside it.
        is_loaded = quantity != "dc" and abs(value - figure.value) > uncertainty
        as_read = figure.value if is_loaded else None
        yield Observation(
            point, quantity, value, uncertainty, as_read, is_range=figure.is_range, **common
        )
    words = dict(taken.words)
    if words.get(EVERYTHING) == RIGHT:
        # "ok" alone is said of every figure that the catalogue states; a further word overrules it.
        words = dict.fromkeys(find_point_limits(chip, point, condition), RIGHT) | words
    for quantity, word in words.items():
        if word != SKIPPED and quantity in ("dc", "vpp", "frequency", "ripple"):
            verdict = None if word == LOOKED_AT else word
            yield Observation(point, quantity, verdict=verdict, **common)
    if not figures and not words and (taken.seen or taken.is_steady):
        yield _observe_word(chip, point, condition, taken, common)


def _observe_word(
    chip: Chip, point: str, condition: str, taken: PointReading, common: dict[str, Any]
) -> Observation:
    """Return the observation in a word alone: of the signal, where one is expected."""
    if NOTHING not in taken.seen:
        return Observation(point, "vpp", **common)
    stated = find_point_limits(chip, point, condition)
    is_dc_alone = "dc" in stated and "vpp" not in stated
    return Observation(point, "dc" if is_dc_alone else "vpp", verdict=NOTHING, **common)


def _list_seen(taken: PointReading) -> tuple[str, ...]:
    return tuple(word for word in taken.seen if word != NOTHING)


def correct_figure(
    chip: Chip, place: Pin, condition: str, quantity: str, figure: Figure, chosen: Instruments
) -> tuple[float, float]:
    """Return a figure as it is with nothing connected, and its standard uncertainty."""
    digits_uncertainty = convert_half_width(figure.half_digit)
    expectation = place.expectation(condition)
    if quantity == "dc":
        # The meter loads the pin's own resistance and the parts on it together.
        bare = correct_dc(figure.value, place.model_copy(update={"resistance": None}), chosen)
        loaded = correct_dc(figure.value, place, chosen)
        share = _share_of_loading(chip, place)
        loading_v = share * (loaded.value - bare.value)
        loading_uncertainty = share * abs(loaded.value - bare.value) / 2
        uncertainty = _combine(bare.uncertainty, loading_uncertainty)
        return bare.value + loading_v, _combine(uncertainty, digits_uncertainty)
    if quantity == "frequency":
        stated = find_limits(place, expectation).get("frequency") if expectation else None
        expected_hz = stated.typ if stated is not None else None
        # So many digits are counted: where no counter was chosen, with an ordinary one.
        if chosen.counter is None and digits_uncertainty < _COUNTED_DIGITS * figure.value:
            chosen = chosen._replace(counter=_ORDINARY_COUNTER)
        corrected = correct_frequency_at(chip, place, figure.value, expected_hz, chosen)
    elif expectation is not None:
        parts_f = sum_capacitance_f(chip, f"pin {place.number}")
        corrected = correct_vpp(figure.value, place, expectation, chosen, parts_f)
    else:
        # Of an unknown signal nobody can say how far the probe loads it.
        gain_share = convert_half_width(chosen.scope.gain_percent.nominal / 100)
        return figure.value, _combine(gain_share * figure.value, digits_uncertainty)
    return corrected.value, _combine(corrected.uncertainty, digits_uncertainty)


def _share_of_loading(chip: Chip, place: Pin) -> float:
    """Return the resistance at a pin, as a share of that inside the pin alone.

    The drawn resistors are in parallel with it; an oscillator's pin holds its mean whatever loads
    it.
    """
    if place.resistance is None or place.resistance.nominal <= 0 or place.role == "oscillator":
        return 0.0
    name = f"pin {place.number}"
    parts_ohm = [
        part.quantity.nominal
        for part in chip.application.parts
        if part.kind in _LOADING_KINDS and part.quantity is not None and name in part.joins
    ]
    # A coil is a short to DC: it is counted as an ohm.
    parts_siemens = sum(1 / max(ohm, _LEAST_PART_OHM) for ohm in parts_ohm)
    pin_siemens = 1 / place.resistance.nominal
    return pin_siemens / (pin_siemens + parts_siemens)


def _combine(first: float, second: float) -> float:
    """Return two independent uncertainties as one: they add as squares (JCGM 100:2008, 5.1.2)."""
    return float((first**2 + second**2) ** 0.5)


def find_point_limits(chip: Chip, point: str, condition: str) -> dict[str, Limits]:
    """Return the catalogue's limits of a point by quantity; empty where it says nothing."""
    place = find_test_point(chip, point)
    expectation = place.expectation(condition)
    limits = find_limits(place, expectation) if expectation is not None else {}
    return {name: limits for name, limits in limits.items() if name != "resistance"}


def find_point(chip: Chip, name: str) -> str:
    """Return ``pin 7`` or the id of the node called so. Raises UnknownPin."""
    if name.strip().casefold() == "ground":
        return "ground"
    place = find_test_point(chip, name)
    return f"pin {place.number}" if place.number else place.symbol


def _find_part(chip: Chip, ref: str) -> Part:
    part = find_part(chip, ref)
    if part is None:
        raise UnknownPin(f"no part {ref!r} around {chip.part}")
    return part
