"""The state of an RYW5230 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

from functools import cache

from boards.bench import Shown
from boards.faults import NO_FAULT, Fault

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import CHIP, COLOURS, DRIVE, ELECTRICS, LINE_HZ, OUTPUT, PART, RUNS, TRUE_V
from .faults import FAULTS
from .picture import Picture

__all__ = ["CHIP", "FAULTS", "simulate"]

_GONE_SWING, _GONE_LIT, _FLOODED = 0.15, 0.5, 1.8
_CAST, _BRIGHT, _DARK, _STRONG = 0.3, 1.4, 0.6, 1.4
_NO_COLOUR, _PALE, _DEEP = 0.1, 0.6, 1.35
_DRIED_F = 3e-6
_VISIBLE_V = 0.05
_RAISED = 1.3


@cache
def _good_swings_v(seed: int) -> dict[str, float]:
    return Picture(BoardRules(ELECTRICS, DRIVE, RUNS, seed, NO_FAULT)).swing_v


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    picture = Picture(rules)
    screen = Screen(PART, seed, TRUE_V)
    show(rules, picture, screen)
    good_v = _good_swings_v(seed)
    swings = {colour: picture.swing_v[colour] / good_v[colour] for colour in COLOURS}
    symptoms = find_symptoms(picture, swings)
    if rules.value("C319", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("rail-180v", 6.0)
        symptoms.append(("hum bars",))
    if rules.value("C316", 0.0, 1.0) < _DRIED_F * 10:
        screen.show_ripple("pin 17", 0.3)
        symptoms.append(("hum bars",))
    return screen.finish(rules.settled(), symptoms, rules.meter_v)


def show(rules: BoardRules, picture: Picture, screen: Screen) -> None:
    """Show all signals."""
    for run, line, feed, pin in (
        ("luminance", "luminance-line", "luminance-feed", "pin 3"),
        ("r-y", "r-y-line", "r-y-feed", "pin 1"),
        ("b-y", "b-y-line", "b-y-feed", "pin 2"),
    ):
        comes = 0.0 if rules.silent(line) else 1.0
        screen.show(line, comes)
        screen.show(pin, comes * min(rules.ways.share(run, pin), 1.05))
        feed_v = screen.stated_v(line) * comes * rules.ways.share(run, feed)
        screen.show_volts(feed, feed_v, frequency_hz=LINE_HZ)
    keys = 0.0 if rules.silent("sandcastle-line") else 1.0
    screen.show("pin 8", keys * rules.ways.share("keys", "pin 8"))
    screen.show_volts("sandcastle-line", 8.1 * keys, frequency_hz=LINE_HZ)
    for colour, pin in OUTPUT.items():
        seen_v = picture.output_v[colour] * rules.passes(pin)
        misshapen = picture.is_misshapen[colour] and seen_v > _VISIBLE_V
        words = ("distorted",) if misshapen else ()
        screen.show_volts(pin, seen_v, *words, frequency_hz=LINE_HZ)
        screen.show_volts(f"base-{colour}", 0.99 * seen_v, *words, frequency_hz=LINE_HZ)
        expected_v = 30.0 * picture.inner_v[colour]
        clipped = 0.5 < picture.swing_v[colour] < 0.6 * expected_v
        words = ("distorted",) if clipped or (misshapen and picture.swing_v[colour] > 1) else ()
        swing_v = picture.swing_v[colour]
        screen.show_volts(f"cathode-{colour}", swing_v, *words, frequency_hz=LINE_HZ)


def find_symptoms(picture: Picture, swings: dict[str, float]) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first; ``swings`` of the cathodes, 1 if good."""
    lit = picture.lit
    gone = [c for c in COLOURS if swings[c] < _GONE_SWING and lit[c] < _GONE_LIT]
    flooded = [c for c in COLOURS if lit[c] > _FLOODED]
    if len(gone) == len(COLOURS):
        return [("no picture",)]
    if flooded and min(lit.values()) > _RAISED:
        return [("too bright",)]
    if flooded:
        return [("colour cast",), ("too bright",)]
    if gone:
        return [(f"no {gone[0]}",)]
    if max(swings.values()) < _GONE_SWING:  # an empty raster
        return [("no picture",)]
    if picture.passed["pin 3"] < _GONE_SWING:  # patches of colour on black
        return [("dark picture",)]
    shown: list[tuple[str, ...]] = []
    if max(lit.values()) - min(lit.values()) > _CAST:
        shown.append(("colour cast",))
    mean_lit, mean_swing = (sum(s.values()) / len(COLOURS) for s in (lit, swings))
    if picture.contrast > _STRONG:
        shown.append(("too much contrast",))
    elif mean_lit > _BRIGHT:
        shown.append(("too bright",))
    elif mean_lit < _DARK or mean_swing < _DARK:
        shown.append(("dark picture",))
    return shown + find_colour_symptoms(picture)


def find_colour_symptoms(picture: Picture) -> list[tuple[str, ...]]:
    """Return the symptom of the colours, if they have one."""
    red, blue = (picture.passed[pin] * picture.saturation for pin in ("pin 1", "pin 2"))
    strongest = max(red, blue)
    if strongest < _NO_COLOUR:
        return [("no colour",)]
    if min(red, blue) < 0.5 * strongest:
        return [("wrong hue",)]
    if strongest < _PALE:
        return [("weak colour",)]
    return [("too strong colour", "too much colour")] if strongest > _DEEP else []
