"""How the stages of the NBR2424 behave on a board with one fault, and the symptoms of the set.

The AGC store settles where the video has its right height, or at the end of its range; the tuner's
gain goes with its own AGC; the AFT pulls the tuner to where it says. Without a carrier the IF
amplifier works at full gain and gives noise. Common practice for intercarrier receivers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from boards.bench import Shown
from boards.board import Board, calibrate
from boards.circuit import Drive
from boards.faults import NO_FAULT, Fault

from .if_electrics import NOT_CALIBRATED, VISION_SOUND_IF

_IF_HZ, _VIDEO_HZ, _LINE_HZ, _SOUND_HZ, _TONE_HZ = 38.9e6, 100e3, 15625.0, 5.5e6, 1e3
_IF_V, _VIDEO_V, _SOUND_V, _FM_V, _TONE_V, _AUDIO_V = 12e-3, 2.2, 80e-3, 0.3, 0.8, 0.6
_VISION_STAGES: Final = ("if-amplifier", "video-demodulator", "video-amplifier")
_SENSITIVITY_V, _AGC_FULL_V, _AGC_LEAST_V, _AGC_V_A_DECADE = 100e-6, 7.4, 1.5, 1.35
_AGC_CHARGE_A, _NEAR_FULL_V = 20e-6, 1.0
_ZERO_CARRIER_V, _MEAN_UNDER_CARRIER_V = 5.8, 1.5
_NOISE_V, _NOISE_AT_LIMITER_V, _HISS_V = 1.2, 30e-3, 0.9
_VIDEO_NOISE_HZ, _HISS_HZ = 900e3, 4e3  # where a counter hovers on noise
_VIDEO_POINTS: Final = ("pin 13", "video-base", "video-line", "video-out", "video-socket")
_CARRIER_POINTS: Final = ("pin 16", "sound-in")
_SOUND_POINTS: Final = ("pin 18", "pin 19", "pin 20", "pin 21", "pin 23", "audio-out")
_LIMITER_V = 2e-3
_WORKING_V, _REFERENCE_MIN_V, _BIASED_V = 7.0, 3.0, 1.2
_TUNER_FULL_V, _TUNER_DB_A_VOLT, _TUNER_LEAST_DB = 6.0, 12.0, -45.0
_TAKEOVER_LOW_V, _TAKEOVER_OHM, _OFF_OHM = 0.8, 300.0, 10e6
_ON_TUNE_V, _MISTUNED_V, _AFT_END_V, _AFT_ON_V = 6.0, 2.5, 11.2, 1.5
_MUTE_V, _SILENT_V, _NOMINAL_VOLUME_V = 1.5, 0.7, 2.85
# What is taken for a carrier at the video output, a picture at the socket, sound.
_CARRIED_V, _PICTURE_V, _DARK_V, _HEARD_V, _WEAK_AUDIO_V = 0.1, 0.2, 0.5, 0.1, 0.4
_COUNTED_V = 5e-3  # what a counter with its preamplifier still counts

Ways = Mapping[str, Mapping[str, complex]]
"""The volts at every point for one volt of each signal."""


@dataclass(frozen=True)
class Receiver:
    """State of the stages on a board."""

    working: bool
    """The IF amplifier and what follows are alive: without a carrier they give noise."""
    agc_v: float
    video_v: float
    """Height of the video at its output, of a carrier that gets there; 0 without one."""
    overloaded: bool
    tuner_ohm: float | None
    aft_v: float | None
    limited: bool
    tone_v: float
    audio_gain: float

    @property
    def is_noisy(self) -> bool:
        """At full gain and without a carrier the receiver gives noise."""
        full = self.agc_v > _AGC_FULL_V - _NEAR_FULL_V
        return self.working and full and self.video_v < _CARRIED_V


@cache
def _drive() -> Drive:
    return calibrate(VISION_SOUND_IF, NOT_CALIBRATED)


@cache
def _good_ways() -> Ways:
    return _ways(Board(VISION_SOUND_IF, _drive()))


def _ways(board: Board) -> Ways:
    return board.transfers(
        {
            "if": (_IF_HZ, {"if-in": 1.0}),
            "video": (_VIDEO_HZ, {"pin 13": 1.0}),
            "sound": (_SOUND_HZ, {"pin 13": 1.0}),
            "tone": (_TONE_HZ, {"pin 20": 1.0}),
            "audio": (_TONE_HZ, {"pin 23": 1.0}),
        }
    )


def simulate(seed: int | None, fault: Fault = NO_FAULT) -> Shown:
    """Return the state of a board with this fault; with no seed all values are exact."""
    board = Board(VISION_SOUND_IF, _drive(), fault, seed)
    if fault.dead_stage == "reference":
        board = board.with_stages({"pin 6": 0.0})
    ways = _ways(board)
    receiver = _receive(board, ways)
    settled = _settled_board(board, receiver)
    signals = _signals(settled, ways, receiver)
    symptoms = _symptoms(settled, signals, receiver)
    return Shown(settled, signals, _words(receiver, signals), symptoms)


def _receive(board: Board, ways: Ways) -> Receiver:
    dead, dc = board.fault.dead_stage, board.dc
    supplied = dc["inner pin 14"] > _WORKING_V and dc["inner pin 6"] > _REFERENCE_MIN_V
    working = supplied and dead not in _VISION_STAGES
    tuner_ohm = _tuner_agc_ohm(board)
    tuner_agc_v = _with_tuner(board, tuner_ohm).dc["tuner-agc"]
    tuner_db = np.clip((tuner_agc_v - _TUNER_FULL_V) * _TUNER_DB_A_VOLT, _TUNER_LEAST_DB, 0.0)
    arriving_v = _IF_V * abs(ways["if"]["inner pin 1"]) / abs(_good_ways()["if"]["pin 1"])
    arriving_v *= 10 ** (tuner_db / 20)
    carried = working and arriving_v > _SENSITIVITY_V / 30
    wanted_v = _AGC_FULL_V
    if carried:
        wanted_v -= _AGC_V_A_DECADE * math.log10(arriving_v / _SENSITIVITY_V)
    agc_v = float(np.clip(wanted_v, _AGC_LEAST_V, _AGC_FULL_V))
    if dead == "agc-detector":
        agc_v = _AGC_FULL_V  # nothing draws the gain back
    agc_v = min(agc_v, _agc_limit_v(board))
    lacking = max(wanted_v - agc_v, 0.0) / _AGC_V_A_DECADE
    video_v = _VIDEO_V * 10**-lacking if carried else 0.0
    sound_v = _SOUND_V * abs(ways["sound"]["inner pin 16"]) / _good_sound()
    limited = supplied and dead != "limiter" and dc["inner pin 16"] > _BIASED_V
    limited = limited and sound_v * video_v / _VIDEO_V > _LIMITER_V
    return Receiver(
        working=working,
        agc_v=agc_v if supplied else 0.0,
        video_v=video_v,
        overloaded=carried and agc_v > wanted_v + 1.0,
        tuner_ohm=tuner_ohm if carried else _OFF_OHM,
        aft_v=_AFT_END_V if carried and _aft_is_detuned(board) else None,
        limited=limited,
        tone_v=_TONE_V if limited and dead != "fm-demodulator" else 0.0,
        audio_gain=_audio_gain(board) if supplied else 0.0,
    )


def _good_sound() -> float:
    return abs(_good_ways()["sound"]["pin 16"])


def _aft_is_detuned(board: Board) -> bool:
    """The AFT circuit, resonating far above the carrier, says that all is far below."""
    failure = board.fault.failure("C409")
    switched_on = board.dc["inner pin 12"] > _AFT_ON_V
    return switched_on and failure is not None and failure.mode == "open"


def _agc_limit_v(board: Board) -> float:
    """Return the most that the store can hold against its leak."""
    failure = board.fault.failure("C406")
    if failure is None or failure.mode not in ("leaky", "shorted"):
        return _AGC_FULL_V
    return _AGC_CHARGE_A * (failure.figure if failure.mode == "leaky" else 0.2)


def _tuner_agc_ohm(board: Board) -> float | None:
    """Return the collector's resistance; None where it is as on a good set."""
    if board.fault.dead_stage in ("tuner-agc-stage", "agc-detector"):
        return _OFF_OHM
    return _TAKEOVER_OHM if board.dc["inner pin 4"] < _TAKEOVER_LOW_V else None


def _with_tuner(board: Board, tuner_ohm: float | None) -> Board:
    return board.with_stages(None, {} if tuner_ohm is None else {"pin 5": tuner_ohm})


def _audio_gain(board: Board) -> float:
    if board.fault.dead_stage in ("volume-control", "audio-output"):
        return 0.0
    if board.dc["inner pin 24"] > _MUTE_V:
        return 0.0
    volume_v = board.dc["inner pin 22"] - _SILENT_V
    return float(np.clip(volume_v / (_NOMINAL_VOLUME_V - _SILENT_V), 0.0, 1.8))


def _settled_board(board: Board, receiver: Receiver) -> Board:
    held = {"pin 3": receiver.agc_v}
    inner_ohm = {"pin 3": 1e3}  # the loop makes good what the store loses to a meter
    if receiver.working:
        mean_v = _MEAN_UNDER_CARRIER_V * min(receiver.video_v / _VIDEO_V, 1.0)
        held["pin 13"] = _ZERO_CARRIER_V - mean_v
    elif board.fault.dead_stage == "video-amplifier":
        held["pin 13"] = 0.0
    else:
        held["pin 13"] = _ZERO_CARRIER_V
    if board.fault.dead_stage == "audio-output":
        held["pin 23"] = 0.0
    if receiver.aft_v is not None:
        held["pin 11"], inner_ohm["pin 11"] = receiver.aft_v, 1e3
    settled = board.with_stages(held, inner_ohm)
    return _with_tuner(settled, receiver.tuner_ohm)


def _signals(board: Board, ways: Ways, receiver: Receiver) -> dict[tuple[str, str], float]:
    signals: dict[tuple[str, str], float] = {}
    noisy = receiver.is_noisy

    def put(points: tuple[str, ...], volts: float, way: str, hertz: float) -> None:
        for point in points:
            height_v = volts * abs(ways[way][point] / _good_ways()[way][points[0]])
            signals[point, "vpp"] = height_v
            if height_v > _COUNTED_V:
                signals[point, "frequency"] = hertz

    put(("if-in", "pin 1"), _IF_V, "if", _IF_HZ)
    video_v = _NOISE_V if noisy else receiver.video_v
    put(_VIDEO_POINTS, video_v, "video", _VIDEO_NOISE_HZ if noisy else _LINE_HZ)
    # What the taps see of the sound carrier, against a good set's 80 mV at the limiter; of noise
    # a limiter makes as much as of a carrier.
    carrier_v = _NOISE_AT_LIMITER_V if noisy else _SOUND_V * receiver.video_v / _VIDEO_V
    put(_CARRIER_POINTS, min(carrier_v, _SOUND_V), "sound", _SOUND_HZ)
    hissing = noisy and board.fault.dead_stage not in ("limiter", "fm-demodulator")
    for pin in ("pin 18", "pin 19"):
        signals[pin, "vpp"] = _FM_V if receiver.limited or hissing else 0.0
        signals[pin, "frequency"] = _SOUND_HZ if receiver.limited or hissing else 0.0
    hertz, tone_v = (_HISS_HZ, _HISS_V) if hissing else (_TONE_HZ, receiver.tone_v)
    put(("pin 20", "pin 21"), tone_v, "tone", hertz)
    # The volume control passes on what gets to the chip's side of pin 21.
    passed = tone_v / _TONE_V * abs(ways["tone"]["inner pin 21"] / _good_ways()["tone"]["pin 20"])
    put(("pin 23", "audio-out"), _AUDIO_V * passed * receiver.audio_gain, "audio", hertz)
    return signals


def _words(receiver: Receiver, signals: Mapping[tuple[str, str], float]) -> dict[str, list[str]]:
    """Noise and overload are told on the screen from a signal; a counter jumps on noise."""
    words = {}
    if receiver.is_noisy:
        noisy = (*_VIDEO_POINTS, *_CARRIER_POINTS, *_SOUND_POINTS)
        words = {point: ["distorted", "unstable"] for point in noisy}
    elif receiver.overloaded:
        words = {point: ["distorted"] for point in _VIDEO_POINTS}
    return {
        point: seen
        for point, seen in words.items()
        if signals.get((point, "vpp"), 0.0) > _COUNTED_V
    }


def _symptoms(
    board: Board, signals: Mapping[tuple[str, str], float], receiver: Receiver
) -> list[tuple[str, ...]]:
    """Return the symptoms seen and heard."""
    picture_v, audio_v = signals["video-socket", "vpp"], signals["audio-out", "vpp"]
    snowy = _CARRIED_V <= receiver.video_v < 0.6 * _VIDEO_V
    if receiver.is_noisy and picture_v > _PICTURE_V:
        return [("snow", "no picture no sound", "no picture")]
    lacking = receiver.agc_v > _AGC_FULL_V - _NEAR_FULL_V and not receiver.overloaded
    if picture_v > _PICTURE_V and (snowy or lacking):
        return [("snow", "dark picture")]
    if picture_v < _PICTURE_V and audio_v < _HEARD_V:
        return [("no picture no sound", "no picture")]
    if picture_v < _PICTURE_V:
        return [("no picture with sound", "no picture")]
    if picture_v < _DARK_V:
        return [("dark picture",)]
    if receiver.overloaded:
        return [("picture tears and rolls", "overloaded picture", "picture tears")]
    if audio_v < _HEARD_V:
        return [("no sound",)]
    if audio_v < _WEAK_AUDIO_V:
        return [("weak sound",)]
    if abs(board.dc["aft-line"] - _ON_TUNE_V) > _MISTUNED_V:
        return [("mistuned", "picture mistuned", "no colour")]
    return []
