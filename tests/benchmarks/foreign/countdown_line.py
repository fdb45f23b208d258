"""The line half of the WBT2028: start, sync, first and second loop, drive, protection.

The line part starts from the mains side, and all else lives on the 12 V that it makes. Common
practice: a loop that pulls in 600 Hz, 500 Hz a volt, a protection that latches at 0.7 V, a
start that needs some 7 V.
"""

from __future__ import annotations

import random
from dataclasses import replace

from boards.board import Board
from practice.board_rules import BoardRules
from practice.colour_loops import PhaseLoop

from foreign.countdown_electrics import (
    GROUND,
    LINE_HZ,
    MAIN_V,
    START_V,
    SWITCHED_OFF_OHM,
    SWITCHED_ON_OHM,
)

LOOP = PhaseLoop(rest_v=4.2, bars_v=4.25, hertz_per_volt=500, pull_in_hz=600)
_RESONATOR_SPREAD_HZ = 40.0
_STARTS_V, _RUNS_V, _MAIN_V = 7.4, 7.0, 9.0
_TRIPS_V = 0.68
_FOLLOWED_HZ = (14.0e3, 17.5e3)
_SATURATED_V, _DRIVE_OFF = 0.1, 30 / 64
_COLLECTOR_MEAN_V, _FEED_MEAN_V = 88.0, 97.0
_FLYBACK_V, _CLAMP_V, _FLYBACK_OHM = 60.0, 6.7, 15e3
_COINCIDENCE_V, _MUTED_V = 3.5, 5.0
_SLICED = (0.85, 1.15)
_SHIFT_V, _PUSHED_V = 3.7, 0.8
_OPEN_RESONATOR_HZ = 1.1e6


class LinePart:
    """State of the line half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules) -> None:
        self._rules = rules
        self._start()
        self.main = rules.inside_v(MAIN_V, GROUND) > _MAIN_V
        if rules.is_dead("reference"):
            rules.hold("pin 20", 0.1, 200.0)
        self.reference = rules.settled().dc["inner pin 20"] / rules.good.dc["pin 20"]
        self._separate_sync()
        self._lock()
        self._drive()
        self._find_coincidence()
        self._shift()

    def _start(self) -> None:
        """Decide whether the line output runs; if not, all that it makes is gone."""
        rules = self._rules
        self._oscillate()
        running, still = rules.board, self._without_line_output(rules.board)
        starts = still.dc[f"inner {START_V}"] - still.dc[GROUND] > _STARTS_V
        runs = running.dc[f"inner {START_V}"] - running.dc[GROUND] > _RUNS_V
        sensed_v = running.dc["inner pin 14"] - running.dc[GROUND]
        self.trips = sensed_v > _TRIPS_V
        self.alive = starts and runs
        on, off = self._drive_states(still)
        # It has to switch the driver with the start's feed, and go on with that of the 12 V.
        self.switches = all(
            0.55 < off["line-driver-base"] < 1.2 and on["line-driver-base"] < 0.5
            for on, off in ((on, off), self._drive_states(running))
        )
        pulls = rules.mode("Q601") == "good" and off["line-driver-collector"] < 8
        fed = on["driver-feed"] > 60 and rules.mode("T601") == "good"
        low, high = _FOLLOWED_HZ
        self.driving = self.alive and self.oscillates and not rules.is_dead("line-drive")
        self.driving = self.driving and not self.trips
        self.line_output = self.driving and self.switches and pulls and fed
        self.line_output = self.line_output and low < LINE_HZ + self.free_off_hz < high
        if not self.line_output:
            rules.board = still

    @staticmethod
    def _without_line_output(board: Board) -> Board:
        gone_v = {**board.fault.outside_v, "rail-12v": 0.0, "eht-sense": 0.0}
        return replace(board, fault=replace(board.fault, outside_v=gone_v))

    def _drive_states(self, board: Board) -> tuple[dict[str, float], dict[str, float]]:
        on, off = (
            board.with_stages({"pin 13": volts}, {"pin 13": ohms}).dc
            for volts, ohms in ((_SATURATED_V, SWITCHED_ON_OHM), (12.0, SWITCHED_OFF_OHM))
        )
        return (off if self._rules.is_lifted("pin 13") else on), off

    def _oscillate(self) -> None:
        rules = self._rules
        stopped = rules.is_dead("line-oscillator") or rules.is_lifted("pin 7")
        stopped = stopped or rules.mode("X601") in ("shorted",) or rules.mode("R604") == "open"
        self.oscillates = not stopped
        resonator = rules.fault.failure("X601")
        self.jumps = resonator is not None and resonator.mode == "open"
        off = resonator.figure if resonator and resonator.mode == "off" else 0.0
        off = _OPEN_RESONATOR_HZ / 500e3 - 1 if self.jumps else off
        self.free_off_hz = LINE_HZ * off + random.Random(rules.seed).gauss(0, _RESONATOR_SPREAD_HZ)

    def _separate_sync(self) -> None:
        rules = self._rules
        arrives = rules.ways.share("video", "pin 1") > 0.3 and not rules.is_lifted("pin 1")
        arrives = arrives and not rules.silent("video-line")
        low, high = _SLICED
        biased = low < rules.of_good("pin 1", GROUND) < high
        sliced = low < rules.of_good("pin 2", GROUND) < high or rules.is_lifted("pin 2")
        separates = self.main and not rules.is_dead("sync-separator")
        self.sync = 1.0 if arrives and biased and sliced and separates else 0.0
        self.field_sync = self.sync * (rules.ways.share("field video", "pin 1") > 0.4)

    def _lock(self) -> None:
        rules = self._rules
        own_v = rules.own_v["pin 8"]
        share = 1.0
        if not rules.is_lifted("pin 8"):
            settled = rules.settled({"pin 8": own_v}).dc
            share = (settled["pin 8"] - settled[GROUND]) / own_v
        detects = self.sync > 0 and self.line_output and self.reference > 0.6 and not self.jumps
        detects = detects and not rules.is_dead("line-phase-detector")
        detects = detects and not rules.is_lifted("pin 8")
        source_v, off_hz, self.locked = LOOP.settle(self.free_off_hz, share, burst=detects)
        self.drags = detects and not self.locked
        if self.locked:
            rules.hold("pin 8", source_v)
        elif self.drags:
            rules.hold("pin 8", LOOP.rest_v + (1.6 if self.free_off_hz < 0 else -1.6))
        slow_f = rules.value("C606", 0.0, 1.0)
        self.is_loose = rules.mode("R605") == "open" or slow_f < 0.3e-6
        running = self.alive and self.oscillates
        self.hertz = LINE_HZ + off_hz if running else 0.0

    def _drive(self) -> None:
        rules = self._rules
        board = rules.settled()
        on, off = self._drive_states(board)
        points = ("pin 13", "line-driver-base")
        self.drive_v = {p: off[p] - on[p] if self.driving else 0.0 for p in points}
        if self.driving:
            rules.meter_v |= {p: on[p] + _DRIVE_OFF * (off[p] - on[p]) for p in points}
            for point, mean_v in (
                ("line-driver-collector", _COLLECTOR_MEAN_V),
                ("driver-feed", _FEED_MEAN_V),
            ):
                rest_v = off[point] if self.switches else on[point]
                rules.meter_v[point] = mean_v if self.line_output else rest_v
            start_v = (on["rail-start"] + off["rail-start"]) / 2
            rules.meter_v["rail-start"] = start_v
        elif rules.is_dead("line-drive"):
            rules.hold("pin 13", _SATURATED_V, SWITCHED_ON_OHM)
        else:
            rules.hold("pin 13", 12.0, SWITCHED_OFF_OHM)
        if not (self.alive and self.oscillates):
            rules.hold("pin 7", rules.own_v["pin 7"] * 0.8)

    @property
    def flyback(self) -> bool:
        """Whether flyback pulses come to the board."""
        return self.line_output and not self._rules.silent("flyback-winding")

    @property
    def pulse_v(self) -> float:
        """Flyback at pin 11, clamped inside."""
        rules = self._rules
        if not self.flyback:
            return 0.0
        if rules.is_lifted("pin 11"):
            return _FLYBACK_V
        share = _FLYBACK_OHM / (_FLYBACK_OHM + rules.value("R606", 1e12, 0.1))
        return min(_FLYBACK_V * share, _CLAMP_V)

    def _find_coincidence(self) -> None:
        rules = self._rules
        self.keyed = self.pulse_v > 2.5 and not rules.is_lifted("pin 11")
        meets = self.locked and self.keyed and not rules.is_dead("coincidence-detector")
        rules.hold("pin 3", rules.own_v["pin 3"] if meets else 1.0)
        if not self.keyed:
            rules.hold("pin 11", 0.05)
        settled = rules.settled().dc
        self.muted = settled["inner pin 3"] < _COINCIDENCE_V and not rules.is_dead("mute-switch")
        if self.muted and self.main:
            rules.hold("pin 4", 0.1, 200.0)
        self.muted = self.muted or rules.settled().dc["pin 4"] < _MUTED_V

    def _shift(self) -> None:
        """The second loop corrects for the line output's delay; its preset moves the picture."""
        rules = self._rules
        settled = rules.settled().dc
        shift_v = settled["inner pin 10"] - rules.good.dc["pin 10"]
        wanted_v = _SHIFT_V + 0.3 * shift_v
        if not self.keyed or rules.is_dead("second-phase-detector"):
            wanted_v = 6.5 if self.main else 0.0
        rules.hold("pin 9", wanted_v)
        held_v = rules.settled().dc["inner pin 9"]
        self.is_displaced = self.locked and abs(held_v - _SHIFT_V) > _PUSHED_V
        self.is_displaced = self.is_displaced or (self.locked and abs(shift_v) > 1.5)
