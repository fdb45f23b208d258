"""How the stages of the JLM2831 behave on a board with one fault, and the symptoms of the set.

Bars run from the inputs through matrix, contrast and brightness to the outputs. The black level of
each output is held by its own loop: in a line after field blanking the chip drives one gun alone
and moves that output until the dark-current input reads the wanted voltage. Until some dark current
has flowed after switching on, all three outputs stay blanked. Common practice for such chips.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from boards.bench import Shown
from boards.board import Board, calibrate
from boards.circuit import Drive
from boards.faults import NO_FAULT, Fault
from numpy.typing import NDArray
from scipy.optimize import brentq

from .rgb_electrics import (
    CHIP,
    COLOURS,
    CUT_OFF_V,
    OUTPUT,
    PERVEANCE,
    RGB_AMPLIFIER,
    STORE,
    TUBE_EXPONENT,
)

# Colour bars: white, yellow, cyan, green, magenta, red, blue, black (ITU-R BT.471).
_BARS: Final = {
    "red": np.array([1, 1, 0, 0, 1, 1, 0, 0]),
    "green": np.array([1, 1, 1, 1, 0, 0, 0, 0]),
    "blue": np.array([1, 0, 1, 0, 1, 0, 1, 0]),
}
_LUMA: Final = {"red": 0.299, "green": 0.587, "blue": 0.114}  # ITU-R BT.601
_ACTIVE_SHARE, _BLANKED_SHARE = 0.81, 0.19  # of a line of 64 µs: 12 µs are blanked

_BLACK_MIN_V, _BLACK_MAX_V, _BLANKED_V = 1.0, 4.2, 0.6
_WANTED_DARK_V, _WARM_DARK_V = 0.9, 0.3
_STORE_LOW_V, _STORE_HIGH_V = 2.0, 8.0
_BLACK_A_STORE_VOLT = (_BLACK_MAX_V - _BLACK_MIN_V) / (_STORE_HIGH_V - _STORE_LOW_V)
_LOOP_ERROR_V, _SANDCASTLE_SHARE, _HELD_STORE_OHM = 0.01, 0.6, 1e3
_STORE_CHARGE_A = 0.6e-6  # a line's charging current, averaged over a field
_WARM_STORE_V = 5.0
_BEAM_LIMIT_V, _LIMITER_STEPS = 5.0, 7
_INPUTS: Final = {"y": ("y-in", "pin 3"), "ry": ("ry-in", "pin 1"), "by": ("by-in", "pin 2")}
_VIDEO_HZ, _LINE_HZ, _LINE_BARS_HZ = 200e3, 15625.0, 50e3
_WORKING_V, _REFERENCE_MIN_V = 7.0, 3.0  # what the chip needs to do anything
_OUTPUT_STAGE: Final = ("base", "emitter", "collector", "follower", "cathode")
_COUNTED_V = 0.02
_SANDCASTLE_V, _WHITE_V, _SOCKET_SHOWN_V, _SEEN_SWING_V = 7.5, 2.4, 0.9, 0.1
# Currents of a gun: a full bar of a good set, what shows, a lit black, one colour over all.
_GOOD_WHITE_A, _VISIBLE_A, _GREY_A, _FLOOD_A = 1.0e-3, 50e-6, 60e-6, 250e-6
_CAST: Final = 0.75  # two guns further apart than this colour the white
_MOST_BEAM_A = 3e-3  # what the high-voltage winding gives before it gives way


Ways = Mapping[str, Mapping[str, complex]]
"""The volts at every point for one volt of each signal."""


Lights = Mapping[str, tuple[float, float]]
"""The current of each gun at black and at a full bar, in ampere."""


@dataclass(frozen=True)
class Picture:
    """Signals of the outputs for each colour: swing, peak and mean over black, volts at the pin."""

    swing_v: Mapping[str, float]
    peak_v: Mapping[str, float]
    mean_v: Mapping[str, float]
    brightness_v: float
    share: Mapping[str, float]
    """What is left of luminance, R-Y and B-Y, against a good set."""


@dataclass(frozen=True)
class CutOff:
    """Where a loop settles."""

    black_v: float
    store_v: float
    dark_v: float


@cache
def _drive() -> Drive:
    # The averages stated for pins 22 and 10 come from the picture, not from the inside; control
    # inputs have a little bias current, that shows when nothing is joined to them.
    inputs = {"pin 7": 5.5, "pin 8": 0.0, "pin 9": 0.0}
    return calibrate(RGB_AMPLIFIER, {"pin 22": 0.0, "pin 10": 7.0, **inputs})


def simulate(seed: int | None, fault: Fault = NO_FAULT) -> Shown:
    """Return the state of a board with this fault; with no seed all values are exact."""
    board = Board(RGB_AMPLIFIER, _drive(), fault, seed)
    if fault.dead_stage == "reference":
        board = board.with_stages({"pin 27": 0.0})
    ways = board.transfers(
        {name: (_VIDEO_HZ, {node: 1.0}) for name, (node, _) in _INPUTS.items()}
        | {"sandcastle": (_LINE_HZ, {"sandcastle-in": 1.0})}
    )
    working = _is_supplied(board) and _pulses_arrive(board, ways)
    loops = {colour: _settle(board, colour, working=working) for colour in COLOURS}
    # Once any dark current has flowed the warm-up store charges, and the picture is let through.
    warm = any(loop.dark_v > _WARM_DARK_V for loop in loops.values())
    shown = working and warm and board.dc["inner pin 26"] > _WARM_STORE_V
    shown = shown and fault.dead_stage != "blanking"
    picture, lights, settled = _limit_beam(board, ways, loops, shown=shown)
    return Shown(
        settled,
        _signals(settled, ways, picture, shown=shown) | _dark_signals(settled, loops, lights),
        _wrong_shapes(picture) if shown else {},
        symptoms=_symptoms(lights, picture),
        meter_v=_averages(settled, lights),
    )


def _limit_beam(
    board: Board, ways: Ways, loops: Mapping[str, CutOff], *, shown: bool
) -> tuple[Picture, Lights, Board]:
    """Return picture, currents and board with the contrast that the beam limiter leaves."""
    low, high, contrast = 0.0, 1.0, 1.0
    for _ in range(_LIMITER_STEPS):
        picture = _picture(board, ways, contrast if shown else 0.0)
        lights = _lights(board, loops, picture, blanked=not shown)
        settled = _settled_board(board, loops, picture, lights, blanked=not shown)
        limiting = settled.dc["inner pin 10"] < _BEAM_LIMIT_V
        if contrast == 1.0 and not limiting:
            break
        low, high = (low, contrast) if limiting else (contrast, high)
        contrast = (low + high) / 2
    return picture, lights, settled


def _is_supplied(board: Board) -> bool:
    supply_v = board.dc["inner pin 5"] - board.dc["pin 6"]
    return supply_v > _WORKING_V and board.dc["inner pin 27"] > _REFERENCE_MIN_V


def _pulses_arrive(board: Board, ways: Ways) -> bool:
    """Clamping, blanking and measuring all hang on the sandcastle."""
    counting = board.fault.dead_stage not in ("sandcastle-detector", "measuring-counter")
    return counting and abs(ways["sandcastle"]["inner pin 4"]) > _SANDCASTLE_SHARE


def _settle(board: Board, colour: str, *, working: bool) -> CutOff:
    """Return where the loop of one gun settles, the other two being blanked."""
    dead = board.fault.dead_stage
    if not working or dead == "dark-current-comparator":
        return CutOff(_BLACK_MIN_V, 0.0, 0.0)

    def measure_v(black_v: float) -> float:
        held = {OUTPUT[other]: _BLANKED_V for other in COLOURS} | {OUTPUT[colour]: black_v}
        return board.with_stages(held).dc["inner pin 22"]

    if dead in ("blanking", f"{colour}-output") or measure_v(_BLACK_MAX_V) < _WANTED_DARK_V:
        black_v = _BLACK_MAX_V  # however far it drives the gun, too little current comes back
    elif measure_v(_BLACK_MIN_V) > _WANTED_DARK_V:
        black_v = _BLACK_MIN_V
    else:
        error_v = lambda v: measure_v(v) - _WANTED_DARK_V  # noqa: E731
        black_v = brentq(error_v, _BLACK_MIN_V, _BLACK_MAX_V, xtol=_LOOP_ERROR_V)
    # The store leaks: it holds no more than a line's charging in each field brings.
    store_v = min(_store_v(black_v), _store_limit_v(board, colour))
    black_v = _BLACK_MIN_V + max(store_v - _STORE_LOW_V, 0.0) * _BLACK_A_STORE_VOLT
    silent = dead in ("blanking", f"{colour}-output")
    return CutOff(black_v, store_v, 0.0 if silent else measure_v(black_v))


def _store_v(black_v: float) -> float:
    return _STORE_LOW_V + (black_v - _BLACK_MIN_V) / _BLACK_A_STORE_VOLT


def _store_limit_v(board: Board, colour: str) -> float:
    """Return the most that the store can hold against its leak."""
    ref = {"red": "C213", "green": "C214", "blue": "C215"}[colour]
    failure = board.fault.failure(ref)
    if failure is None or failure.mode not in ("leaky", "shorted"):
        return _STORE_HIGH_V
    return _STORE_CHARGE_A * (failure.figure if failure.mode == "leaky" else 0.2)


def _picture(board: Board, ways: Ways, contrast: float) -> Picture:
    """Return the bars at the outputs, from the levels at the inputs and the controls."""
    dead, dc = board.fault.dead_stage, board.dc
    share = {name: abs(ways[name][f"inner {pin}"]) for name, (_, pin) in _INPUTS.items()}
    if dead == "luminance-clamp":
        share["y"] = 0.0
    saturation = 0.0 if dead == "colour-clamp" else _gain(dc["inner pin 9"], 1.9, 2.8, 1.8)
    share["ry"] *= saturation
    share["by"] *= saturation
    contrast *= _gain(dc["inner pin 7"], 1.8, 2.8, 1.6)
    # Above 0.9 V the socket is shown, and nothing is plugged in there.
    if (
        dead in ("matrix", "socket-switch", "contrast-control", "brightness-control")
        or dc["inner pin 14"] > _SOCKET_SHOWN_V
    ):
        contrast = 0.0
    levels = _bar_levels(share)
    drive = {colour: _WHITE_V * contrast * _white_drive(board, colour) for colour in COLOURS}
    # The luminance store sets where black is: without it all is far below black.
    brightness_v = float(np.clip(0.35 * (dc["inner pin 8"] - 2.8), -0.9, 0.9))
    brightness_v += 0.4 * min(dc["inner pin 15"] - 4.7, 0.0)
    return Picture(
        swing_v={c: drive[c] * float(np.ptp(levels[c])) for c in COLOURS},
        peak_v={c: drive[c] * float(np.max(levels[c])) for c in COLOURS},
        mean_v={c: drive[c] * _ACTIVE_SHARE * float(np.mean(levels[c])) for c in COLOURS},
        brightness_v=brightness_v,
        share=share,
    )


def _bar_levels(share: Mapping[str, float]) -> dict[str, NDArray[np.float64]]:
    """Return red, green and blue of the eight bars: luminance plus colour differences."""
    luma = sum(_LUMA[colour] * _BARS[colour] for colour in COLOURS)
    red_difference = share["ry"] * (_BARS["red"] - luma)
    blue_difference = share["by"] * (_BARS["blue"] - luma)
    # G-Y from the other two follows from the luma equation (ITU-R BT.601).
    green_difference = -(_LUMA["red"] * red_difference + _LUMA["blue"] * blue_difference)
    return {
        "red": share["y"] * luma + red_difference,
        "green": share["y"] * luma + green_difference / _LUMA["green"],
        "blue": share["y"] * luma + blue_difference,
    }


def _gain(volts: float, nothing_v: float, nominal_v: float, most: float) -> float:
    return float(np.clip((volts - nothing_v) / (nominal_v - nothing_v), 0.0, most))


def _white_drive(board: Board, colour: str) -> float:
    """Red and blue have a preset from 0.7 to 1.3; green has none."""
    pin = {"red": "inner pin 24", "blue": "inner pin 25"}.get(colour)
    return 1.0 if pin is None else float(np.clip(0.7 + 0.3 * board.dc[pin] / 2.75, 0.7, 1.3))


def _black_v(board: Board, loop: CutOff, picture: Picture, colour: str, blanked: bool) -> float:
    """Return the volts of an output at black."""
    if board.fault.dead_stage == f"{colour}-output":
        return 0.0
    return _BLANKED_V if blanked else max(loop.black_v + picture.brightness_v, _BLANKED_V)


def _lights(
    board: Board, loops: Mapping[str, CutOff], picture: Picture, *, blanked: bool
) -> dict[str, tuple[float, float]]:
    """Return for each gun the current at black and at a full bar, in ampere."""
    black_v = {c: _black_v(board, loops[c], picture, c, blanked) for c in COLOURS}
    full_v = {c: black_v[c] + picture.peak_v[c] * (black_v[c] > _BLANKED_V) for c in COLOURS}
    black, full = (
        board.with_stages({OUTPUT[c]: volts[c] for c in COLOURS}).dc for volts in (black_v, full_v)
    )
    return {c: (_beam_a(c, black), _beam_a(c, full)) for c in COLOURS}


def _beam_a(colour: str, dc: Mapping[str, float]) -> float:
    drive_v = max(CUT_OFF_V[colour] - dc[f"{colour}-cathode"], 0.0)
    return float(PERVEANCE * drive_v**TUBE_EXPONENT)


def _mean_beams_a(lights: Lights) -> float:
    """Return the sum of the mean currents: half of the bars full, half of them black."""
    return sum(_ACTIVE_SHARE * (black_a + full_a) / 2 for black_a, full_a in lights.values())


def _settled_board(
    board: Board,
    loops: Mapping[str, CutOff],
    picture: Picture,
    lights: Lights,
    *,
    blanked: bool,
) -> Board:
    """Return the board with stores and outputs at their means, and the tube's current drawn."""
    held = {STORE[colour]: loops[colour].store_v for colour in COLOURS}
    for colour in COLOURS:
        black_v = _black_v(board, loops[colour], picture, colour, blanked)
        mean_v = black_v
        if black_v > _BLANKED_V:
            mean_v = _BLANKED_SHARE * _BLANKED_V + _ACTIVE_SHARE * black_v + picture.mean_v[colour]
        held[OUTPUT[colour]] = mean_v
    if blanked:  # the warm-up store is kept discharged until dark current has been seen
        held["pin 26"] = 0.3
    drawn_a = min(_mean_beams_a(lights), _MOST_BEAM_A)
    # The loop makes good what its store loses to a meter.
    inner_ohm = dict.fromkeys(STORE.values(), _HELD_STORE_OHM)
    return board.with_stages(held, inner_ohm, more_lines=[f"IFOOT n_beam_foot 0 {drawn_a:g}"])


def _signals(
    board: Board, ways: Ways, picture: Picture, *, shown: bool
) -> dict[tuple[str, str], float]:
    """Return amplitudes; the ways behind the outputs are taken where the stages have put them."""
    signals: dict[tuple[str, str], float] = {}
    for name, (node, pin) in _INPUTS.items():
        for point in (node, pin):
            signals[point, "vpp"] = CHIP.peak_to_peak_v[node] * abs(ways[name][point])
    for point in ("sandcastle-in", "pin 4"):
        signals[point, "vpp"] = _SANDCASTLE_V * abs(ways["sandcastle"][point])
    outputs = board.transfers({c: (_LINE_BARS_HZ, {OUTPUT[c]: 1.0}) for c in COLOURS})
    for colour in COLOURS:
        dead = not shown or board.fault.dead_stage == f"{colour}-output"
        swing_v = 0.0 if dead else picture.swing_v[colour]
        ends = [
            f"{colour}-{end}" for end in ("base", "emitter", "collector", "follower", "cathode")
        ]
        for point in (OUTPUT[colour], *ends):
            signals[point, "vpp"] = swing_v * abs(outputs[colour][point])
    # The measuring lines, four in a field, are too few to be seen where the rest is blanked.
    counted = [point for (point, _), volts in signals.items() if volts > _COUNTED_V]
    return signals | {(point, "frequency"): _LINE_HZ for point in counted}


def _dark_signals(
    board: Board, loops: Mapping[str, CutOff], lights: Lights
) -> dict[tuple[str, str], float]:
    """Return the signal of the dark-current line: bars up to its limit, or the measuring lines."""
    lit = any(full_a > _VISIBLE_A for _, full_a in lights.values())
    dark_v = max(loop.dark_v for loop in loops.values())
    # The divider of R208 and R209 lies between line and pin.
    ratio = board.dc["pin 22"] / board.dc["sense-line"] if board.dc["sense-line"] > 0.05 else 1.0
    pin_v = board.dc["pin 22"] if lit else dark_v
    return {("pin 22", "vpp"): pin_v, ("sense-line", "vpp"): pin_v / max(ratio, 0.1)}


def _wrong_shapes(picture: Picture) -> dict[str, list[str]]:
    """Return the points whose bars have other steps than they should, for want of a component.

    Red without R-Y, or any colour without luminance, is as high as before and still not red.
    """
    lacking = {name for name, share in picture.share.items() if not 0.6 < share < 1.5}
    made_of = {"red": {"y", "ry"}, "green": {"y", "ry", "by"}, "blue": {"y", "by"}}
    return {
        point: ["distorted"]
        for colour in COLOURS
        if made_of[colour] & lacking and picture.swing_v[colour] > _SEEN_SWING_V
        for point in (OUTPUT[colour], *(f"{colour}-{end}" for end in _OUTPUT_STAGE))
    }


def _averages(board: Board, lights: Lights) -> dict[str, float]:
    """Return a meter's reading of the dark-current line, pushed to its limit by most bars."""
    guns = sum(full_a > _VISIBLE_A for _, full_a in lights.values())
    bars = {0: 1.0, 1: 0.5 * _ACTIVE_SHARE, 2: 0.75 * _ACTIVE_SHARE}.get(guns, 0.88 * _ACTIVE_SHARE)
    return {point: board.dc[point] * bars for point in ("sense-line", "pin 22")}


def _symptoms(lights: Lights, picture: Picture) -> list[tuple[str, ...]]:
    """Return the symptoms on the screen, against a good set's currents."""
    white = {colour: lights[colour][1] / _GOOD_WHITE_A for colour in COLOURS}
    floods = [colour for colour in COLOURS if lights[colour][0] > _FLOOD_A]
    weak = [colour for colour in COLOURS if white[colour] < 0.15]
    if min(black_a for black_a, _ in lights.values()) > _GREY_A:
        return [("too bright", "bright raster")]
    if floods:
        return [(f"too much {floods[0]}", f"{floods[0]} raster", "colour cast", "too bright")]
    if len(weak) == len(COLOURS):
        return [("no picture", "dark picture")]
    if len(weak) == 1:
        return [(f"no {weak[0]}", f"one colour missing: {weak[0]}")]
    if max(white.values()) < 0.5:
        return [("dark picture",)]
    return _colour_symptoms(white, picture.share)


def _colour_symptoms(
    white: Mapping[str, float], share: Mapping[str, float]
) -> list[tuple[str, ...]]:
    if share["y"] < 0.3:
        return [("no luminance", "dark picture")]
    if max(share["ry"], share["by"]) < 0.2:
        return [("no colour",)]
    if min(share["ry"], share["by"]) < 0.4 * max(share["ry"], share["by"]):
        return [("wrong hue", "wrong colours")]
    if share["ry"] < 0.6:
        return [("weak colour",)]
    if share["ry"] > 1.5:
        return [("too strong colour", "colour too strong")]
    if min(white.values()) < _CAST * max(white.values()):
        return [("colour cast", "wrong white", "wrong hue")]
    return []
