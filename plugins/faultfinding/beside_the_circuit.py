"""What fails that no linear network shows: parts that amplify or wind, a noisy supply, a pin that
has lost its joint as seen from inside the chip. Followed along the diagram; common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from ...schema import Chip, Part
from .diagram import behind_pins
from .hypotheses import WITHOUT_ELEMENTS, Hypothesis
from .outside import reached
from .points import Point, Upset

# What the signals show behind a supply that ripples, a part that fails, a joint that is open.
_HUM: Final = {"distorted": 0.55, "as expected": 0.3, "unstable": 0.15}
_HUNTING: Final = {"as expected": 0.75, "unstable": 0.25}
_LOST: Final = {"missing": 0.6, "too low": 0.2, "as expected": 0.1, "distorted": 0.1}
_LOST_DC: Final = {"as expected": 0.4, "too low": 0.25, "too high": 0.25, "missing": 0.1}
_LOST_FREQUENCY: Final = {"missing": 0.55, "as expected": 0.45}
_WEAK: Final = {"too low": 0.5, "distorted": 0.2, "as expected": 0.3}
_BEHIND_A_JOINT: Final[dict[str, Mapping[str, float]]] = {
    "supply": {"missing": 0.6, "too low": 0.25, "distorted": 0.15},
    "ground": {"distorted": 0.4, "missing": 0.3, "too low": 0.2, "as expected": 0.1},
    "input": _LOST,
    "oscillator": _LOST,
    "filter": {"unstable": 0.4, "distorted": 0.25, "as expected": 0.35},
    "decoupling": _HUM,
    "reference": {"distorted": 0.4, "too low": 0.25, "as expected": 0.35},
    "control": {"too low": 0.35, "too high": 0.35, "as expected": 0.3},
}
_ON_THE_LEG: Final = 0.4  # a prong on the pin's own leg presses it down, or reads the chip's side


def beside_the_circuit(chip: Chip, hypothesis: Hypothesis) -> Upset:
    """What a hypothesis upsets besides what the network says of it; often nothing."""
    if hypothesis.sort == "supply" and hypothesis.failure == "noisy":
        return _noisy(chip, hypothesis.what)
    if hypothesis.sort == "joint":
        return _behind_the_joint(chip, hypothesis.what)
    part = next((p for p in chip.application.parts if p.ref == hypothesis.what), None)
    if hypothesis.sort == "part" and part is not None and part.kind in WITHOUT_ELEMENTS:
        return _beyond(chip, part, hypothesis.failure)
    return {}


def on_the_leg(upset: Upset, pin: str) -> Upset:
    """What the network says of a pin without its joint, with the chance that the leg was read."""
    return {point: _mixed(shares) if point.at == pin else shares for point, shares in upset.items()}


def _mixed(shares: Mapping[str, float]) -> dict[str, float]:
    mixed = {outcome: (1 - _ON_THE_LEG) * share for outcome, share in shares.items()}
    mixed["as expected"] = mixed.get("as expected", 0.0) + _ON_THE_LEG
    return mixed


def _noisy(chip: Chip, name: str) -> Upset:
    """Ripple on a supply: hum on all that its stages put out, whose levels are as they were."""
    supply = next(s for s in chip.supplies if s.name == name)
    fed = [f"pin {number}" for number in supply.pins]
    upset: Upset = {Point(pin, "ripple"): {"too high": 1.0} for pin in fed}
    for at in behind_pins(chip, fed):
        upset[Point(at, "vpp")] = dict(_HUM)
        upset[Point(at, "frequency")] = dict(_HUNTING)
    return upset


def _behind_the_joint(chip: Chip, at: str) -> Upset:
    """What the stages make of a pin that nothing comes in at any more."""
    pin = chip.pin(at.removeprefix("pin "))
    shares = _BEHIND_A_JOINT.get(pin.role if pin is not None else "")
    if shares is None:
        return {}
    return {Point(behind, "vpp"): dict(shares) for behind in behind_pins(chip, [at])}


def _beyond(chip: Chip, part: Part, failure: str) -> Upset:
    """A part that amplifies or winds, and failed: the signal beyond it is gone, or weak.

    Beyond are its ends that no output of the chip drives, and what these lead to.
    """
    made = {f"pin {pin.number}" for pin in chip.pins if pin.role in ("output", "oscillator")}
    ends = [end for end in part.joins if end != "ground" and not end.startswith("rail")]
    before = set(ends[:1]) if len(ends) > 1 else set()
    beyond = _without(chip, part, set(ends) - before - made) - before - made
    weak = failure in ("leaky", "shorted turns")
    return _lost(beyond, weak) | _lost(behind_pins(chip, beyond), weak)


def _without(chip: Chip, part: Part, ends: set[str]) -> set[str]:
    """What the ends lead to by other parts than the failed one."""
    others = tuple(p for p in chip.application.parts if p.ref != part.ref)
    application = chip.application.model_copy(update={"parts": others})
    return reached(chip.model_copy(update={"application": application}), ends)


def _lost(ends: Iterable[str], weak: bool) -> Upset:
    shares = {
        "vpp": _WEAK if weak else _LOST,
        "dc": _LOST_DC,
        "frequency": {"as expected": 1.0} if weak else _LOST_FREQUENCY,
    }
    return {Point(end, quantity): dict(told) for end in ends for quantity, told in shares.items()}
