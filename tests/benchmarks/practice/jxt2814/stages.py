"""The state of a JXT2814 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

import math

from boards.bench import Shown
from boards.faults import Fault

from practice.board_rules import BoardRules
from practice.screen import Screen

from .colour import OUTPUTS, Colour
from .electrics import CHIP, DRIVE, ELECTRICS, PART, RUNS, TRUE_V
from .faults import FAULTS
from .luminance import Luminance

__all__ = ["CHIP", "FAULTS", "simulate"]

_GONE, _DIM, _STRONG = 0.1, 0.65, 1.35
_BLACK_GONE_V, _BLACK_LOW_V, _BLACK_HIGH_V = -1.5, -0.5, 0.6
_CUT_OFF = 0.7  # of its volts at the RGB stage, below which a colour is dark
_WRONG_HUE = math.radians(18)
_DRIED_F = 30e-6
_COLOURS = {"matrix-r-y": "red", "matrix-g-y": "green", "matrix-b-y": "blue"}


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    colour = Colour(rules)
    luminance = Luminance(rules, colour)
    screen = Screen(PART, seed, TRUE_V)
    colour.show(screen)
    luminance.show(screen)
    if rules.value("C220", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("pin 18", 0.35)
    board = rules.settled()
    share = {node: board.dc[node] / rules.good.dc[node] for node in (*_COLOURS, "matrix-y")}
    symptoms = find_picture_symptoms(luminance, share["matrix-y"])
    if symptoms != [("no picture",)]:  # in the dark nobody sees what the colours do
        dark = [name for node, name in _COLOURS.items() if share[node] < _CUT_OFF]
        symptoms += find_colour_symptoms(colour, dark)
        if rules.value("C220", 0.0, 1.0) < _DRIED_F:
            symptoms.append(("hum bars",))
    return screen.finish(board, symptoms, rules.meter_v)


def find_picture_symptoms(luminance: Luminance, matrix_share: float) -> list[tuple[str, ...]]:
    """Return the symptom of the black and white picture, if it has one."""
    black_v = luminance.black_v
    if matrix_share < 0.3 or black_v < _BLACK_GONE_V or luminance.at_matrix < _GONE:
        return [("no picture",)]
    if black_v > _BLACK_HIGH_V:
        return [("too bright",)]
    if luminance.at_matrix < _DIM or black_v < _BLACK_LOW_V:
        return [("dark picture",)]
    return [("too much contrast",)] if luminance.at_matrix > _STRONG else []


def find_colour_symptoms(colour: Colour, dark: list[str]) -> list[tuple[str, ...]]:
    """Return the symptom of the colours, if they have one; ``dark``: those that are cut off."""
    if len(dark) == len(OUTPUTS):
        return [("no picture",)]
    if dark:
        return [(f"no {dark[0]}", "colour cast")]
    shares = colour.at_matrix().values()
    strongest, weakest = max(shares), min(shares)
    if strongest < 0.08:
        return [("no colour",)]
    if weakest < 0.5 * strongest or abs(colour.turned) > _WRONG_HUE:
        return [("wrong hue",)]
    if strongest < 0.65:
        return [("weak colour",)]
    return [("too strong colour", "too much colour")] if weakest > _STRONG else []
