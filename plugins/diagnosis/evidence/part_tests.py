"""A part measured out of circuit, one lead lifted: good, or how it has failed.

Common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ....schema import Part, QuantityError, parse_quantity, print_value
from ....schema.reading import BadReading
from ...readings.reading_words import reading_words
from ...readings.written_figures import read_figure

# How far a part may be off that still does: its tolerance where it is stated, else by kind.
_TOLERANCE: Final = {
    "electrolytic capacitor": (0.3, 0.6),
    "trimmer capacitor": (0.6, 0.6),
    "potentiometer": (0.25, 0.25),
    "resistor": (0.1, 0.1),
    "coil": (0.12, 0.12),
    "crystal": (2e-4, 2e-4),
    "ceramic resonator": (5e-3, 5e-3),
    "ceramic filter": (0.02, 0.02),
}
_ORDINARY: Final = (0.15, 0.15)
_BY_DIELECTRIC: Final = {"C0G": 0.05, "NP0": 0.05, "mica": 0.05, "polystyrene": 0.05,
                         "polypropylene": 0.1, "polyester": 0.1}  # fmt: skip
_CAPACITIVE: Final = ("capacitor", "electrolytic capacitor", "trimmer capacitor")
_RESISTIVE: Final = ("resistor", "potentiometer")
_UNITS: Final = {
    **dict.fromkeys(_CAPACITIVE, "F"),
    **dict.fromkeys(_RESISTIVE, "Ω"),
    **dict.fromkeys(("crystal", "ceramic resonator", "ceramic filter"), "Hz"),
    "coil": "H",
}
_NOTHING: Final = 0.05  # of its value: a capacitor that is open, a resistor that is shorted
_FAR_BEYOND: Final = 50.0  # times its value: a resistor that is open

# What the test shows of a part that failed so, in shares. A leak that only shows at its working
# voltage, a crystal that starts on the tester, turns shorted when warm: some pass. Common practice.
_SHOWN: Final[dict[str, dict[str, float]]] = {
    "open": {"open": 0.97, "value too high": 0.015, "value too low": 0.015},
    "shorted": {"shorted": 0.97, "value too low": 0.03},
    "leaky": {"leaky": 0.957, "shorted": 0.04, "good": 0.003},
    "value low": {"value too low": 0.947, "good": 0.003, "open": 0.05},
    "value high": {"value too high": 0.927, "open": 0.07, "good": 0.003},
    "dried out": {"value too low": 0.89, "leaky": 0.03, "open": 0.077, "good": 0.003},
    "shorted turns": {"value too low": 0.98, "good": 0.02},
    "detuned": {"value too low": 0.48, "value too high": 0.51, "good": 0.01},
    "dead": {"open": 0.92, "off frequency": 0.076, "good": 0.004},
    "weak": {"good": 0.1, "open": 0.5, "value too low": 0.4},
    "off frequency": {"off frequency": 0.996, "good": 0.004},
}
_SPOKEN_OF_ALL: Final = {"open": 0.25, "shorted": 0.25, "leaky": 0.2, "value too low": 0.15,
                         "value too high": 0.1, "off frequency": 0.05}  # fmt: skip
_RIGHT: Final = 0.99  # how often a good part is found good
_SLIP: Final = 0.002  # of a test of a failed part: the wrong part in the hand
_BAD_WORDS: Final = tuple(_SPOKEN_OF_ALL)
_DIGITS: Final = {"Hz": 7}  # a crystal's last digits tell
_USUAL_DIGITS: Final = 3
_JOINT_LIKE: Final = {"joint open": 0.97, "open": 0.9}  # faults that a soldered joint cures


@dataclass(frozen=True)
class PartResult:
    """How a part turned out, out of circuit."""

    ref: str
    outcome: str
    """``good``, ``open``, ``leaky``, ``shorted``, ``value too low``, ``value too high``,
    ``off frequency``, ``joint bad``, ``bad``."""
    found: str
    why: str

    @property
    def is_good(self) -> bool:
        """Whether nothing is wrong with the part itself."""
        return self.outcome in ("good", "joint good")


def read_part_result(part: Part, found: str) -> PartResult:
    """Return how a part turned out by a word or the value that it measures. Raises BadReading."""
    outcome_of_word = reading_words().part
    word = found.casefold()
    if word in outcome_of_word:
        return PartResult(part.ref, outcome_of_word[word], found, f"found {found}")
    # No known word: a figure of the part's own unit, then.
    unit = find_unit(part)
    value = _read_value(found, unit) if unit is not None else None
    if value is None or part.quantity is None or unit is None:
        example = f", or the value it measures, such as {part.value}" if part.value else ""
        raise BadReading(
            f"{part.ref}: {found!r} is not known; write one of {reading_words().listed_of_a_part}"
            f"{example}"
        )
    outcome, why = _judge_value(part, unit, value, part.quantity.nominal)
    return PartResult(part.ref, outcome, found, why)


def _read_value(found: str, unit: str) -> float | None:
    try:
        return parse_quantity(found, unit).nominal
    except QuantityError:
        pass
    try:
        return read_figure(found, unit).value
    except BadReading:
        return None


def _judge_value(part: Part, unit: str, value: float, marked: float) -> tuple[str, str]:
    """Return outcome and reason of a measured value, compared with the marked one."""
    low, high = (marked * share for share in find_good_share(part))
    digits = _DIGITS.get(unit, _USUAL_DIGITS)
    span = f"{print_value(low, unit, digits)} to {print_value(high, unit, digits)}"
    reason = f"{print_value(value, unit, digits)}, {span} is good"
    if low <= value <= high:
        return "good", reason
    if unit == "Hz":
        return "off frequency", reason
    # Next to nothing is no value that drifted: a capacitor is open then, a resistor shorted.
    if value < _NOTHING * marked:
        return ("open" if unit == "F" else "shorted"), reason
    if unit == "Ω" and value > _FAR_BEYOND * marked:
        return "open", reason
    return ("value too low" if value < low else "value too high"), reason


def find_unit(part: Part) -> str | None:
    """Return the unit of a part's value: ``F``, ``Ω``, ``Hz``, ``H``; None where it has none."""
    return _UNITS.get(part.kind)


def find_good_share(part: Part) -> tuple[float, float]:
    """Return the least and the most that a good one measures, in shares of its value."""
    below, above = _TOLERANCE.get(part.kind, _ORDINARY)
    if part.dielectric in _BY_DIELECTRIC:
        below = above = _BY_DIELECTRIC[part.dielectric]
    if part.tolerance is not None:
        below = above = max(part.tolerance.nominal / 100, 0.02 if part.kind in _RESISTIVE else 0.05)
        if part.kind in ("crystal", "ceramic resonator", "ceramic filter"):
            below = above = part.tolerance.nominal / 100
    return 1 - below, 1 + above


def find_outcome_chance(outcome: str, failure: str | None) -> float:
    """Return how often a part that failed so (None: that is good) turns out so when measured."""
    if outcome == "joint bad":
        return _JOINT_LIKE.get(_drop_degree(failure), _SLIP) if failure is not None else 1 - _RIGHT
    if failure is None:
        if outcome in ("good", "joint good"):
            return _RIGHT
        return (1 - _RIGHT) * _SPOKEN_OF_ALL.get(outcome, 1.0)
    shares = _find_shares(failure)
    if outcome == "bad":
        return 1 - shares.get("good", 0.0)
    if outcome == "joint good":
        outcome = "good"
    return (1 - _SLIP) * shares.get(outcome, 0.0) + _SLIP * _SPOKEN_OF_ALL.get(outcome, 1.0)


def _find_shares(failure: str) -> dict[str, float]:
    """Return the results that a part that failed this way may show; any bad one if not known."""
    plain = _drop_degree(failure)
    if plain in _SHOWN:
        return _SHOWN[plain]
    # Longer names end with the way itself: "slider open", "base to emitter shorted".
    named = next((way for way in _SHOWN if plain.endswith(way) or way in plain), None)
    if "joint" in plain:
        return {"good": 1.0}
    return _SHOWN[named] if named is not None else {**_SPOKEN_OF_ALL}


def _drop_degree(failure: str) -> str:
    """Return a way to fail without its degree: ``leaky, 10 kΩ`` is ``leaky``."""
    return failure.split(",")[0].strip()


def is_bad(outcome: str) -> bool:
    """Whether the part must be replaced, or its joint soldered."""
    return outcome in _BAD_WORDS or outcome in ("bad", "joint bad")
