"""How the stages of the HMQ2530 behave on a board with one fault, and the recorder's symptoms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from boards.bench import Shown
from boards.board import Board, calibrate
from boards.circuit import Drive
from boards.faults import NO_FAULT, Fault

from .servo_electrics import NOT_CALIBRATED, PIN_F, SERVO
from .servo_loop import Motor, Signs, Turning, settle

# Kinds of pulses by the frequency that carries most of them.
_PG_HZ, _FG_HZ, _CTL_HZ, _CFG_HZ, _PWM_HZ, _TURN_HZ = 800.0, 600.0, 1000.0, 720.0, 3125.0, 25.0
_PG_V, _FG_V, _CTL_V, _CFG_V, _PWM_V, _LOGIC_V = 1.2, 0.6, 12e-3, 0.5, 8.4, 4.8
_PG_NEEDED_V, _FG_NEEDED_V, _CTL_NEEDED_V = 0.2, 0.06, 2e-3
_WORKING_V, _REFERENCE_MIN_V, _COMMAND_V = 6.0, 2.5, 2.5
_HALF_LOGIC_V, _LOW_V, _HIGH_V, _MONO_V = 2.5, 0.1, 4.9, 4.2
_CLOCK_HZ, _CLOCK_V = 3.2e6, 2.4
_CRYSTAL_ARM_F, _CRYSTAL_HOLDER_F = 14e-15, 5.5e-12
_TURN_S: Final = 1 / _TURN_HZ
_MONO_TIMES: Final = 0.69  # RC to half of the supply: ln 2
_SWITCH_ERROR_V = 1.0
_DISPLACED, _SEEN_S = 0.35, 50e-6
_DRUM_NEEDED_V, _CAPSTAN_NEEDED_V = 3.1, 2.83
_MUTED_OHM = 10e6
_COUNTED_V = 4e-3  # what a counter with its preamplifier still counts
_HUNTING_V = 0.4

_DRUM: Final = Motor(
    "drum", "pin 10", "pin 11", "pin 13", "pin 12", "drum-drive", _DRUM_NEEDED_V, 3.0
)
_CAPSTAN: Final = Motor(
    "capstan", "pin 19", "pin 20", "pin 21", "pin 22", "capstan-drive", _CAPSTAN_NEEDED_V, 2.63
)
_SPREAD_OF_MOTORS: Final = 0.03

Ways = Mapping[str, Mapping[str, complex]]
"""The volts at every point for one volt of each signal."""
Put = Callable[[str, float, float], None]
"""Puts what a point shows: volts peak to peak, and hertz."""


@dataclass(frozen=True)
class Recorder:
    """State of the stages on a board: clock, both motors, head switching and tracking."""

    clock_hz: float
    drum: Turning
    capstan: Turning
    mono_s: Mapping[str, float | None]
    """How long each monostable takes; None where it does not come back."""
    reads_control: bool

    @property
    def switches(self) -> bool:
        """Whether the heads are switched at all."""
        return self.mono_s["pin 7"] is not None and self.mono_s["pin 8"] is not None


@cache
def _drive() -> Drive:
    return calibrate(SERVO, NOT_CALIBRATED)


def simulate(seed: int | None, fault: Fault = NO_FAULT) -> Shown:
    """Return the state of a board with this fault; with no seed all values are exact."""
    board = Board(SERVO, _drive(), fault, seed)
    if fault.dead_stage == "half-supply":
        board = board.with_stages({"pin 14": 0.0})
    ways = board.transfers(
        {
            "pg": (_PG_HZ, {"pg-in": 1.0}),
            "fg": (_FG_HZ, {"fg-in": 1.0}),
            "ctl": (_CTL_HZ, {"ctl-in": 1.0}),
            "cfg": (_CFG_HZ, {"cfg-in": 1.0}),
        }
    )
    recorder = _run_recorder(board, ways, seed)
    settled = _settled_board(board, recorder)
    return Shown(
        settled,
        _signals(settled, ways, recorder),
        _words(recorder),
        _symptoms(settled, recorder),
        _averages(settled, recorder),
    )


def _run_recorder(board: Board, ways: Ways, seed: int | None) -> Recorder:
    dead = board.fault.dead_stage
    supplied = board.dc["inner pin 3"] - board.dc["pin 4"] > _WORKING_V
    clock_hz = _clock_hz(board) if supplied and dead != "clock-oscillator" else 0.0
    biased = supplied and board.dc["inner pin 14"] > _REFERENCE_MIN_V
    mono_s = {pin: _mono_s(board, pin) for pin in ("pin 7", "pin 8", "pin 17")}
    position = biased and dead != "pg-amplifier"
    position = position and _PG_V * abs(ways["pg"]["inner pin 5"]) > _PG_NEEDED_V
    if not position or dead in ("head-monostables", "head-switch-flip-flop"):
        mono_s |= {"pin 7": None, "pin 8": None}
    if not clock_hz or dead in ("reference-divider", "tracking-monostable"):
        mono_s |= {"pin 17": None}
    switched = mono_s["pin 7"] is not None and mono_s["pin 8"] is not None
    referred = bool(clock_hz) and dead != "reference-divider"
    drum = settle(
        board,
        _motor(_DRUM, seed),
        Signs(
            running=bool(clock_hz) and board.dc["inner pin 24"] > _COMMAND_V,
            speed=biased
            and dead != "drum-fg-amplifier"
            and _FG_V * abs(ways["fg"]["inner pin 6"]) > _FG_NEEDED_V,
            phase=switched and referred,
            damped=_is_damped(board, "C313", "R311"),
            speed_detector=dead != "drum-speed-counter",
            phase_detector=dead != "drum-phase-detector",
            amplifier=dead != "drum-error-amplifier",
        ),
    )
    reads = biased and dead != "ctl-amplifier" and board.dc["inner pin 23"] > _COMMAND_V
    reads = reads and _CTL_V * abs(ways["ctl"]["inner pin 15"]) > _CTL_NEEDED_V
    capstan = settle(
        board,
        _motor(_CAPSTAN, seed),
        Signs(
            running=bool(clock_hz) and board.dc["inner pin 25"] > _COMMAND_V,
            speed=biased
            and dead != "capstan-fg-amplifier"
            and _CFG_V * abs(ways["cfg"]["inner pin 18"]) > _FG_NEEDED_V,
            phase=reads and mono_s["pin 17"] is not None,
            damped=_is_damped(board, "C320", "R319"),
            speed_detector=dead != "capstan-speed-counter",
            phase_detector=dead != "capstan-phase-detector",
            amplifier=dead != "capstan-error-amplifier",
        ),
    )
    return Recorder(clock_hz, drum, capstan, mono_s, reads)


def _motor(motor: Motor, seed: int | None) -> Motor:
    """No two motors need quite the same."""
    share = 0.0 if seed is None else ((seed * 7 + len(motor.name)) % 5 - 2) / 2
    return replace(motor, needed_v=motor.needed_v * (1 + _SPREAD_OF_MOTORS * share))


def _is_damped(board: Board, capacitor: str, resistor: str) -> bool:
    """An open part of the lag network takes the damping of the loop with it."""
    failures = [board.fault.failure(ref) for ref in (capacitor, resistor)]
    return not any(failure and failure.mode == "open" for failure in failures)


def _clock_hz(board: Board) -> float:
    """Return the frequency with the load capacitance there is; 0 when it does not oscillate."""
    fault, chip = board.fault, SERVO.chip
    failure = fault.failure("X301")
    stopped = failure is not None or bool({"pin 1", "pin 2"} & fault.lifted)
    load_f = []
    for ref in ("C304", "C305"):
        broken = fault.failure(ref)
        stopped = stopped or (broken is not None and broken.mode == "shorted")
        value_f = 0.0 if broken and broken.mode == "open" else chip.parts[ref].value or 0.0
        load_f.append(value_f + PIN_F)
    if stopped:
        return 0.0
    # Series resonance pulled by the load capacitance (Butterworth-Van Dyke).
    nominal_f, series_f = SERVO.crystal_load_f, load_f[0] * load_f[1] / sum(load_f)
    pull = 1 / (_CRYSTAL_HOLDER_F + series_f) - 1 / (_CRYSTAL_HOLDER_F + nominal_f)
    return _CLOCK_HZ * (1 + _CRYSTAL_ARM_F / 2 * pull)


_MONO_PARTS: Final = {
    "pin 7": ("R306", "VR301", "C310"),
    "pin 8": ("R307", "VR302", "C311"),
    "pin 17": ("R316", "VR303", "C318"),
}


# Between resistor and preset: what of the sawtooth is there, with the preset in the middle.
_MONO_TOPS: Final = {
    "pin 7": ("mono1-top", 56 / 79.5),
    "pin 8": ("mono2-top", 56 / 79.5),
    "pin 17": ("tracking-top", 47 / 97),
}


def _mono_s(board: Board, pin: str) -> float | None:
    """Return how long a monostable takes; None when its store never gets up to half supply."""
    fixed, preset, store = _MONO_PARTS[pin]
    fault, parts = board.fault, SERVO.chip.parts
    failures = {ref: fault.failure(ref) for ref in (fixed, preset, store)}
    if pin in fault.lifted:
        return 0.0  # the pin's own few picofarads and its leakage: over at once
    if any((f := failures[ref]) and f.mode == "open" for ref in (fixed, preset)):
        return None
    ohms = (parts[fixed].value or 0.0) + (parts[preset].value or 0.0) / 2
    if (failure := failures[fixed]) and failure.mode == "value":
        ohms += failure.figure - (parts[fixed].value or 0.0)
    farads = parts[store].value or 0.0
    if failure := failures[store]:
        leak_ohm = {"shorted": 0.0, "leaky": failure.figure}.get(failure.mode)
        if leak_ohm is not None and leak_ohm < ohms:
            return None
        farads = 0.0 if failure.mode == "open" else farads
    return _MONO_TIMES * ohms * farads


def _settled_board(board: Board, recorder: Recorder) -> Board:
    held: dict[str, float] = {}
    for motor, turning in ((_DRUM, recorder.drum), (_CAPSTAN, recorder.capstan)):
        held |= {
            motor.speed_pin: turning.speed_v,
            motor.phase_pin: turning.phase_v,
            motor.output_pin: turning.output_v,
        }
    held["pin 9"] = _head_switch_v(recorder)
    control = recorder.reads_control and recorder.capstan.speed > 0.05
    held["pin 16"] = _HALF_LOGIC_V if control else _LOW_V
    reference = recorder.clock_hz and board.fault.dead_stage != "reference-divider"
    held["pin 26"] = _HALF_LOGIC_V if reference else _LOW_V
    supplied = board.dc["inner pin 3"] > _WORKING_V
    unlocked = not recorder.drum.locked or board.fault.dead_stage == "lock-detector"
    muted = {"pin 29": _MUTED_OHM} if unlocked or not supplied else {}
    return board.with_stages(held, muted)


def _head_switch_v(recorder: Recorder) -> float:
    """The first monostable sets the switch, the second resets it; alone each leaves it there."""
    if recorder.drum.speed < 0.05 or recorder.mono_s["pin 7"] is None:
        return _LOW_V
    return _HIGH_V if recorder.mono_s["pin 8"] is None else _HALF_LOGIC_V


def _signals(board: Board, ways: Ways, recorder: Recorder) -> dict[tuple[str, str], float]:
    signals: dict[tuple[str, str], float] = {}

    def put(point: str, vpp: float, hertz: float) -> None:
        signals[point, "vpp"] = vpp
        signals[point, "frequency"] = hertz if vpp > _COUNTED_V else 0.0

    exact = recorder.clock_hz / _CLOCK_HZ if recorder.clock_hz else 1.0
    drum, capstan = recorder.drum.speed * exact, recorder.capstan.speed * exact
    # A pick-up's voltage goes with the speed of what passes it (Faraday).
    for points, way, vpp, hertz, speed in (
        (("pg-in", "pg-node", "pin 5"), "pg", _PG_V, _TURN_HZ, drum),
        (("fg-in", "fg-node", "pin 6"), "fg", _FG_V, _FG_HZ, drum),
        (("ctl-in", "pin 15"), "ctl", _CTL_V, _TURN_HZ, capstan),
        (("cfg-in", "cfg-node", "pin 18"), "cfg", _CFG_V, _CFG_HZ, capstan),
    ):
        for point in points:
            put(point, vpp * abs(ways[way][point]) * speed, hertz * speed)
    turn_hz = _TURN_HZ * drum
    for pin, (top, share) in _MONO_TOPS.items():
        speed, hertz = (1.0, _TURN_HZ * exact) if pin == "pin 17" else (drum, turn_hz)
        swing_v = _mono_swing_v(recorder, pin, speed)
        put(pin, swing_v * (pin not in board.fault.lifted), hertz)
        put(top, swing_v * share, hertz)
    switching = board.drive.held_v["pin 9"] == _HALF_LOGIC_V
    logic = board.transfers({"out": (_TURN_HZ, {"pin 9": 1.0, "pin 16": 1.0, "pin 26": 1.0})})
    for point, on, hertz in (
        ("pin 9", switching, turn_hz),
        ("head-switch", switching, turn_hz),
        ("pin 16", board.drive.held_v["pin 16"] == _HALF_LOGIC_V, _TURN_HZ * capstan),
        ("pin 26", board.drive.held_v["pin 26"] == _HALF_LOGIC_V, _TURN_HZ * exact),
    ):
        put(point, _LOGIC_V * abs(logic["out"][point]) * on, hertz)
    _put_errors(board, recorder, put)
    _put_clock(board, recorder, put)
    return signals


def _mono_swing_v(recorder: Recorder, pin: str, speed: float) -> float:
    """A sawtooth shorter than the screen shows at 25 Hz is not seen."""
    seconds = recorder.mono_s[pin]
    return _MONO_V if speed > 0.05 and seconds is not None and seconds > _SEEN_S else 0.0


def _put_errors(board: Board, recorder: Recorder, put: Put) -> None:
    """Put the pulses of the detectors, as far as the board passes them."""
    for motor, turning in ((_DRUM, recorder.drum), (_CAPSTAN, recorder.capstan)):
        sums = (f"{motor.name}-sum", motor.sum_pin, f"{motor.name}-lag")
        nodes = (*sums, motor.output_pin, motor.drive)
        pulsing = [
            pin
            for pin, volts in (
                (motor.speed_pin, turning.speed_v),
                (motor.phase_pin, turning.phase_v),
            )
            if 0.2 < volts < board.dc["inner pin 3"] - 0.5
        ]
        ways = board.transfers({"pwm": (_PWM_HZ, dict.fromkeys(pulsing, 1.0))}) if pulsing else {}
        way = ways.get("pwm", {})
        for pin in (motor.speed_pin, motor.phase_pin):
            own = _PWM_V * abs(way.get(pin, 0.0)) if pin in pulsing else 0.0
            put(pin, own, _PWM_HZ if own else 0.0)
        ripple_v = _PWM_V * abs(way.get(f"inner {motor.sum_pin}", 0.0))
        for node in nodes:
            shown_v = ripple_v if node not in sums else _PWM_V * abs(way.get(node, 0.0))
            put(node, shown_v + _HUNTING_V * turning.hunting, _PWM_HZ)


def _put_clock(board: Board, recorder: Recorder, put: Put) -> None:
    if not recorder.clock_hz:
        return
    # A Pierce oscillator divides its swing in the ratio of the two capacitances (textbook).
    failure = board.fault.failure("C304")
    raised = 2.5 if failure and failure.mode == "open" else 1.0
    put("pin 1", _CLOCK_V * raised, recorder.clock_hz)
    put("pin 2", _CLOCK_V, recorder.clock_hz)


def _words(recorder: Recorder) -> dict[str, list[str]]:
    words: dict[str, list[str]] = {}
    unsteady = ["unstable"]
    if recorder.drum.hunting:
        words |= dict.fromkeys(("pg-in", "fg-in", "fg-node", "pin 6", "pin 10", "pin 11"), unsteady)
        words |= dict.fromkeys(("pin 12", "drum-drive", "drum-sum", "pin 13"), unsteady)
    elif not recorder.drum.locked and recorder.drum.speed > 0.05 and recorder.switches:
        words["pin 11"] = unsteady  # the phase slides through, turn by turn
    if recorder.capstan.hunting:
        words |= dict.fromkeys(("cfg-in", "cfg-node", "pin 18", "pin 19", "pin 20"), unsteady)
        words |= dict.fromkeys(("pin 22", "capstan-drive", "capstan-sum", "pin 21"), unsteady)
    elif not recorder.capstan.locked and recorder.capstan.speed > 0.05 and recorder.reads_control:
        words["pin 20"] = unsteady
    return words


def _averages(board: Board, recorder: Recorder) -> dict[str, float]:
    """Return a meter's readings of the monostables' sawteeth."""
    averages: dict[str, float] = {}
    speeds = {"pin 7": recorder.drum.speed, "pin 8": recorder.drum.speed, "pin 17": 1.0}
    for pin, speed in speeds.items():
        seconds = recorder.mono_s[pin]
        if pin not in board.fault.lifted and speed > 0.05 and seconds:
            above_v = _MONO_V / 2 * min(seconds * speed / _TURN_S, 1.0)
            top, share = _MONO_TOPS[pin]
            averages |= {pin: _LOW_V + above_v, top: board.dc[top] + share * above_v}
    return averages


def _symptoms(board: Board, recorder: Recorder) -> list[tuple[str, ...]]:
    """Return the symptoms seen and heard of a tape that plays."""
    drum, capstan = recorder.drum, recorder.capstan
    muted = board.dc["pin 29"] > _COMMAND_V
    seen: list[tuple[str, ...]] = []
    if drum.speed < 0.05 or (muted and "pin 29" not in board.fault.lifted):
        seen.append(("no picture",))
    elif drum.hunting:
        seen.append(("picture tears", "picture shakes"))
    if capstan.speed < 0.05:
        seen.append(("tape stands still", "capstan stopped", "no sound"))
    elif abs(capstan.speed - 1) > 0.02:
        seen.append(("tape runs at the wrong speed", "capstan at the wrong speed"))
    elif capstan.hunting:
        seen.append(("wow and flutter", "unsteady sound"))
    elif not capstan.locked:
        seen.append(("noise bar", "noise bars through the picture", "snow"))
    if drum.locked and abs(board.dc["head-switch"] - _HALF_LOGIC_V) > _SWITCH_ERROR_V:
        seen.append(("picture flickers", "every second field noisy", "snow"))
    tracking_s, good_s = recorder.mono_s["pin 17"], _MONO_TIMES * 97e3 * 150e-9
    if not seen and tracking_s is not None and abs(tracking_s / good_s - 1) > _DISPLACED:
        seen.append(("noise bar", "snow"))
    return seen
