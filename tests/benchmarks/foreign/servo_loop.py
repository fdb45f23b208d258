"""One motor in its servo: a speed loop by counting, a phase loop, and their steady state.

The speed detector counts clock periods between pulses of the motor's generator, and the phase
detector compares once a turn with the reference; both give pulses whose means are summed by
resistors on the board and drive the motor through an amplifier of gain one. The loop's integrator
is the phase itself: with it the speed is exact, and without it the speed detector must be off by
the motor's drive. Common practice for recorder servos.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from boards.board import Board

_LEAST_V, _SUPPLY_DROP_V = 0.1, 0.3
_LEAST_WEIGHT = 0.02  # below it the detector does not reach the motor
_MOTOR_START_V, _MOST_SPEED = 0.8, 1.9
_SPEED_V_A_PERCENT = 2.85
_TRIAL_V = 3.0
_STANDS_STILL = 0.05


@dataclass(frozen=True)
class Motor:
    """Pins and nodes of one of the two servos, and its motor's drive at the right speed."""

    name: str
    speed_pin: str
    phase_pin: str
    sum_pin: str
    output_pin: str
    drive: str
    needed_v: float
    speed_v: float
    """Mean of the speed detector at exactly the right speed."""


@dataclass(frozen=True)
class Signs:
    """Inputs of a servo, and the stages of it that work."""

    running: bool
    """Supplied, clocked and told to run."""
    speed: bool
    phase: bool
    damped: bool
    speed_detector: bool = True
    phase_detector: bool = True
    amplifier: bool = True


@dataclass(frozen=True)
class Turning:
    """The steady state of a servo; ``speed`` is 1 at the right one."""

    speed: float
    locked: bool
    hunting: bool
    speed_v: float
    phase_v: float
    output_v: float


@dataclass(frozen=True)
class _Summing:
    """The board between detectors and motor: ``bias + a * speed + b * phase``, times ``gain``."""

    bias_v: float
    speed_weight: float
    phase_weight: float
    gain: float
    most_v: float

    def amplifier_v(self, speed_v: float, phase_v: float) -> float:
        volts = self.bias_v + self.speed_weight * speed_v + self.phase_weight * phase_v
        return float(np.clip(volts, 0.0, self.most_v))


def settle(board: Board, motor: Motor, signs: Signs) -> Turning:
    """Return the steady state of this motor's servo on this board."""
    supply_v = board.dc["inner pin 3"]
    most_v, middle_v = supply_v - _SUPPLY_DROP_V, supply_v / 2
    if not signs.running:
        return Turning(0.0, False, False, _LEAST_V, _LEAST_V, _LEAST_V)
    summing = _measure_summing(board, motor, supply_v)

    def turning(speed_v: float, phase_v: float, *, locked: bool = False) -> Turning:
        amplifier_v = summing.amplifier_v(speed_v, phase_v) if signs.amplifier else 0.0
        speed = 1.0 if locked else _speed(amplifier_v * summing.gain, motor)
        hunting = speed > _STANDS_STILL and not signs.damped
        return Turning(speed, locked, hunting, speed_v, phase_v, amplifier_v)

    # Without a generator the counter overflows: it takes the motor for slow, and drives it up.
    stuck_phase_v = middle_v if signs.phase_detector else _LEAST_V
    if not signs.speed_detector:
        return turning(_LEAST_V, stuck_phase_v)
    fastest = turning(most_v, stuck_phase_v)
    if not signs.speed or fastest.speed < _STANDS_STILL:
        return fastest
    needed_v = motor.needed_v / max(summing.gain, _LEAST_WEIGHT) - summing.bias_v
    if signs.phase and signs.phase_detector and summing.phase_weight > _LEAST_WEIGHT:
        phase_v = (needed_v - summing.speed_weight * motor.speed_v) / summing.phase_weight
        if _LEAST_V < phase_v < most_v:
            settled = turning(motor.speed_v, phase_v, locked=True)
            # Two integrators and nothing to damp them: the motor swings about its speed.
            if summing.speed_weight < _LEAST_WEIGHT:
                return _hunt_about(settled)
            return _hunt_about(settled) if settled.hunting else settled
    if summing.speed_weight < _LEAST_WEIGHT:
        return turning(most_v, stuck_phase_v)
    speed_v = (needed_v - summing.phase_weight * stuck_phase_v) / summing.speed_weight
    if not _LEAST_V < speed_v < most_v:
        return turning(float(np.clip(speed_v, _LEAST_V, most_v)), stuck_phase_v)
    off_percent = (motor.speed_v - speed_v) / _SPEED_V_A_PERCENT
    free = turning(speed_v, stuck_phase_v)
    hunting = not signs.damped
    return Turning(1 + off_percent / 100, False, hunting, speed_v, stuck_phase_v, free.output_v)


def _hunt_about(settled: Turning) -> Turning:
    return Turning(1.0, False, True, settled.speed_v, settled.phase_v, settled.output_v)


def _speed(drive_v: float, motor: Motor) -> float:
    """Return the speed of the motor for its drive, against the right one."""
    share = (drive_v - _MOTOR_START_V) / (motor.needed_v - _MOTOR_START_V)
    return float(np.clip(share, 0.0, _MOST_SPEED))


def _measure_summing(board: Board, motor: Motor, supply_v: float) -> _Summing:
    def sum_v(speed_v: float, phase_v: float) -> float:
        held = {motor.speed_pin: speed_v, motor.phase_pin: phase_v}
        return board.with_stages(held).dc[f"inner {motor.sum_pin}"]

    bias_v = sum_v(_LEAST_V, _LEAST_V)
    weight = [
        (sum_v(speed_v, phase_v) - bias_v) / (_TRIAL_V - _LEAST_V)
        for speed_v, phase_v in ((_TRIAL_V, _LEAST_V), (_LEAST_V, _TRIAL_V))
    ]
    driven = board.with_stages({motor.output_pin: _TRIAL_V}).dc[motor.drive]
    bias_v -= sum(weight) * _LEAST_V
    return _Summing(bias_v, weight[0], weight[1], driven / _TRIAL_V, supply_v - 1.0)
