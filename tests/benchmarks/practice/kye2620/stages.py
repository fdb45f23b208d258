"""The state of a KYE2620 board on colour bars, and the symptoms of its set.

Stated in the chip file: hertz a volt and limits of the AFC, the coincidence threshold, the clamp of
the flyback input. Chosen here, as common practice: where the line output stage still follows, and
that without flyback there is neither high voltage nor coincidence.
"""

from __future__ import annotations

from boards.bench import Shown
from boards.board import Board
from boards.faults import Fault

from practice.colour_loops import PhaseLoop
from practice.screen import Screen
from practice.ways import Ways, spread_drive

from .electrics import (
    CHIP,
    DRIVE,
    ELECTRICS,
    GROUND,
    IDLE_OHM,
    LINE_HZ,
    PART,
    RUNS,
    SUPPLY,
    SUPPLY_ENOUGH_V,
    SWITCHED_OFF_OHM,
    SWITCHED_ON_OHM,
    good_board,
    supply_v,
)
from .faults import FAULTS
from .timing import charge_field, charge_line, charge_ramp, free_line_hz, run_field

__all__ = ["CHIP", "FAULTS", "good_board", "simulate"]

AFC = PhaseLoop(rest_v=6.0, bars_v=6.0, hertz_per_volt=400, pull_in_hz=600)
_SWING_V = 1.5  # of the AFC detector, each way
_STEERED_HZ = 1200.0  # at most, whatever is at pin 3
_FOLLOWED_HZ = (13.0e3, 18.5e3)  # by the line output stage
_BIAS_ENOUGH = 0.6  # of the stated volts at slicer and reference
_DRIVE_ON = 26 / 64  # of a line the drive output is off, and high
_SATURATED_V = 0.07
_COLLECTOR_V, _SWITCHED_SUPPLY_V = 104.0, 63.0
_COINCIDENCE_V = 4.5
_RAMP_START_V, _RAMP_V = 2.8, 2.4
_MOST_HEIGHT = 1.6


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    drive = spread_drive(DRIVE, seed)
    board = Board(ELECTRICS, drive, fault, seed)
    good = Board(ELECTRICS, drive, seed=seed)
    stages = Stages(board, good, Ways(board, good, RUNS), seed)
    screen = Screen(PART, seed)
    stages.show(screen)
    board = board.with_stages(held_v=stages.held_v, inner_ohm=stages.inner_ohm)
    return screen.finish(board, stages.symptoms(), stages.meter_v)


class Stages:
    """State of the stages of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, good: Board, ways: Ways, seed: int) -> None:
        self._board, self._good, self._ways = board, good, ways
        self.alive = supply_v(board) > SUPPLY_ENOUGH_V
        self.held_v: dict[str, float] = {}
        self.inner_ohm: dict[str, float] = {}
        self.meter_v: dict[str, float] = {}
        self.synced = self._find_sync()
        self._run_line(seed)
        self._drive_line()
        self._find_coincidence()
        self._run_field(seed)
        self._settle_outputs()

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    def _lifted(self, pin: str) -> bool:
        return pin in self._board.fault.lifted

    def _has_bias(self, pin: str) -> bool:
        volts = self._board.dc[pin] - self._board.dc[GROUND]
        return volts > _BIAS_ENOUGH * CHIP.nominal_v[pin] or self._lifted(pin)

    def _find_sync(self) -> bool:
        video = self._ways.share("video", "pin 5") > 0.3 and not self._lifted("pin 5")
        sliced = self._has_bias("pin 6") and not self._dead("sync-separator", "noise-gate")
        return self.alive and video and sliced

    def _run_line(self, seed: int) -> None:
        board, charging = self._board, charge_line(self._board, self._good)
        running = self.alive and charging.rate > 0 and not self._dead("line-oscillator")
        self.jumps = running and charging.rate > 3  # hardly any capacitor: no sawtooth any more
        free_hz = free_line_hz(board, charging, seed)
        own_v = DRIVE.open_circuit_v["pin 3"]
        dc = board.with_stages(held_v={"pin 3": own_v}).dc
        share = 1.0 if self._lifted("pin 3") else (dc["pin 3"] - dc[GROUND]) / own_v
        reference = (board.dc["pin 20"] - board.dc[GROUND]) / CHIP.nominal_v["pin 20"]
        reference = 0.0 if self._dead("reference") else reference
        # Oscillator and detector follow the supply alike; a reference that is drawn down does not.
        relative = share * reference / max(supply_v(board) / CHIP.nominal_v[SUPPLY], 0.1)
        detecting = self.synced and running and not self._dead("line-phase-detector")
        detecting = detecting and reference > _BIAS_ENOUGH and not self._lifted("pin 3")
        free_off_hz = free_hz - LINE_HZ
        source_v, off_hz, self.locked = AFC.settle(free_off_hz, relative, burst=detecting)
        self.drags = detecting and not self.locked
        if self.drags:  # the loop drags, in vain: the pin is at its limit
            source_v = AFC.rest_v + (_SWING_V if free_off_hz < 0 else -_SWING_V)
        if not self.locked:
            steered_hz = (relative * source_v - AFC.bars_v) * AFC.hertz_per_volt
            off_hz = free_off_hz + max(-_STEERED_HZ, min(steered_hz, _STEERED_HZ))
        self.held_v["pin 3"] = source_v * reference
        self.line_hz = LINE_HZ + off_hz if running else 0.0
        if self.jumps:
            self.line_hz = 1.8e6
        if not running:
            self.inner_ohm["pin 2"], self.held_v["pin 2"] = IDLE_OHM, 0.05

    def _drive_line(self) -> None:
        """The drive output switches: on, off, and the mean by how long each lasts."""
        board = self._board
        low, high = _FOLLOWED_HZ
        self.driving = low < self.line_hz < high and not self._dead("line-drive")
        off = board.with_stages(held_v={"pin 19": 12.0}, inner_ohm={"pin 19": SWITCHED_OFF_OHM}).dc
        on = board.with_stages(
            held_v={"pin 19": _SATURATED_V}, inner_ohm={"pin 19": SWITCHED_ON_OHM}
        ).dc
        if self._lifted("pin 19"):
            on = off
        self.drive_v = {p: off[p] - on[p] for p in ("pin 19", "line-driver-base")}
        turns_on = 0.6 < off["line-driver-base"] < 1.0 and on["line-driver-base"] < 0.5
        # With too little base current the driver no longer pulls its collector down.
        driver = board.fault.failure("Q501") is None and off["line-driver-collector"] < 3
        fed = on["driver-supply"] > 20 and self._board.fault.failure("T501") is None
        self.line_output = self.driving and turns_on and driver and fed
        self.flyback = self.line_output and "flyback-winding" not in board.fault.silent
        if self.driving:
            self.meter_v = {p: on[p] + _DRIVE_ON * (off[p] - on[p]) for p in self.drive_v}
            for point in ("line-driver-collector", "driver-supply"):
                # Switched, the driver's collector has the mean of its supply; else it is at rest.
                rest_v = off[point] if turns_on else on[point]
                self.meter_v[point] = _SWITCHED_SUPPLY_V if self.line_output else rest_v
        else:  # the output stays off, so that the driver conducts for ever
            self.held_v["pin 19"], self.inner_ohm["pin 19"] = 12.0, SWITCHED_OFF_OHM
            if self._dead("line-drive"):
                self.held_v["pin 19"], self.inner_ohm["pin 19"] = _SATURATED_V, SWITCHED_ON_OHM

    def _find_coincidence(self) -> None:
        at_pin_16 = self._flyback_v()
        self.blanked = at_pin_16 > 2.0 and not self._lifted("pin 16")
        coincident = self.locked and self.blanked and not self._dead("coincidence-detector")
        self.held_v["pin 8"] = 7.4 if coincident else 1.6
        own = self._board.with_stages(held_v={"pin 8": self.held_v["pin 8"]}).dc["pin 8"]
        self.muted = own < _COINCIDENCE_V or self._dead("mute-switch")
        if self._lifted("pin 8"):
            self.muted = not coincident
        if self.muted and self.alive:
            self.held_v["pin 9"], self.inner_ohm["pin 9"] = 0.1, 200.0
        self.held_v["pin 16"] = DRIVE.open_circuit_v["pin 16"] if self.blanked else 0.1
        if not self.blanked and self.alive:  # the second loop has nothing to go by
            self.held_v["pin 17"] = 6.8

    def _flyback_v(self) -> float:
        """Pulses of 60 V through R509 into 12 kΩ, clamped at 4.8 V."""
        failure = self._board.fault.failure("R509")
        if not self.flyback or (failure and failure.mode == "open"):
            return 0.0
        series_ohm = failure.figure if failure else 47e3
        return min(60 * 12e3 / (12e3 + series_ohm), 4.8)

    def _run_field(self, seed: int) -> None:
        board = self._board
        at_pin_10 = (board.dc["pin 10"] - board.dc[GROUND]) / CHIP.nominal_v["pin 10"]
        self.field_pulses = max(0.0, min(at_pin_10, 1.0)) if self.synced and self.locked else 0.0
        if self._lifted("pin 10") or self._dead("field-sync-separator"):
            self.field_pulses = 0.0
        charging, ramp = charge_field(board), charge_ramp(board)
        running = self.alive and charging.rate > 0 and not self._dead("vertical-oscillator")
        field_hz, self.field_held = run_field(board, charging, seed, pulses=self.field_pulses > 0.5)
        self.field_hz = field_hz if running else 0.0
        ramping = self.field_hz > 0 and not self._dead("ramp-generator")
        self.ramp = min(ramp.rate * 50 / self.field_hz, 3.0) if ramping else 0.0
        driving = self.ramp and not self._dead("vertical-drive")
        self.height = min(self.ramp, _MOST_HEIGHT) if driving else 0.0
        if not running:
            self.inner_ohm["pin 11"], self.held_v["pin 11"] = IDLE_OHM, 0.05
            self.inner_ohm["pin 12"], self.held_v["pin 12"] = IDLE_OHM, 0.05

    def _settle_outputs(self) -> None:
        """Ramp, vertical drive and its feedback, sandcastle."""
        if self.field_hz:
            self.held_v["pin 12"] = _RAMP_START_V + self.ramp * _RAMP_V / 2
            if not self.ramp:  # nothing charges it, or nothing lets it go
                self.inner_ohm["pin 12"], self.held_v["pin 12"] = IDLE_OHM, 0.05
        reached = "yoke-sense" not in self._board.fault.silent
        self.yoke = self.height if reached else 0.0
        self.yoke *= min(self._ways.share("to the output", "vertical-output-stage"), 1.0)
        if self._lifted("pin 14"):
            self.yoke = 0.0
        returns = self._ways.share("yoke", "pin 13") > 0.5 and not self._lifted("pin 13")
        self.yoke = self.yoke if returns else 0.0  # without feedback the drive runs to its end
        self.feedback = self.yoke
        self.runs_away = self.height > 0 and not self.feedback
        if self.runs_away:  # the loop inverts: to bring a low feedback up the drive goes down
            too_low = self._board.dc["pin 13"] < CHIP.nominal_v["pin 13"]
            self.held_v["pin 14"] = 0.6 if too_low and not self._lifted("pin 13") else 9.5
        if self._dead("vertical-drive"):
            self.held_v["pin 14"] = 0.0
        if self._dead("sandcastle-generator") or (self.alive and not self.line_hz):
            self.held_v["pin 15"] = 0.1
        if self._dead("reference"):
            self.held_v["pin 20"] = 0.0

    def show(self, screen: Screen) -> None:
        """Show all signals."""
        self._show_line(screen)
        self._show_sync(screen)
        self._show_field(screen)
        dried = self._board.fault.failure("C514")
        if dried and dried.mode == "value":
            screen.show_ripple("pin 18", 0.35)

    def _show_line(self, screen: Screen) -> None:
        hertz = self.line_hz
        running = 1.0 if hertz and not self._lifted("pin 2") else 0.0
        words = ("unstable",) if self.jumps else ()
        screen.show("pin 2", running * (0.7 if self.jumps else 1.0), *words, frequency_hz=hertz)
        restless = self._board.fault.failure("R502") is not None
        dried = self._board.fault.failure("C502")
        restless = restless or (dried is not None and dried.mode in ("open", "value"))
        ripple_v = 0.08 if self.locked else 0.02
        ripple_v = 0.6 if restless and self.locked else 0.4 if self.drags else ripple_v
        words = ("unstable",) if self.drags else ()
        at_pad = 0.0 if self._lifted("pin 3") else ripple_v
        screen.show_volts("pin 3", at_pad, *words, frequency_hz=LINE_HZ if self.locked else 0.0)
        driven = 1.0 if self.driving else 0.0
        for point in ("pin 19", "line-driver-base"):
            screen.show_volts(point, driven * self.drive_v[point], frequency_hz=hertz)
        collector = _COLLECTOR_V if self.line_output else 0.0
        screen.show_volts("line-driver-collector", collector, frequency_hz=hertz)
        at_pin_16 = self._flyback_v()
        clamped_v = max(at_pin_16 - 0.1, 0.0)
        at_pad_v = 60.0 if self._lifted("pin 16") and self.flyback else clamped_v
        screen.show_volts("pin 16", at_pad_v, frequency_hz=hertz)
        winding_v = 60.0 if self.flyback else 0.0
        screen.show_volts("flyback-winding", winding_v, frequency_hz=hertz)
        castle = 1.0 if hertz and not self.jumps and not self._dead("sandcastle-generator") else 0.0
        at_pad = 0.0 if self._lifted("pin 15") else castle
        # The line blanking step comes from the flyback.
        words = ("distorted",) if castle and not self.blanked else ()
        screen.show("pin 15", at_pad, *words, frequency_hz=hertz)

    def _show_sync(self, screen: Screen) -> None:
        ways = self._ways
        comes = 0.0 if "video-line" in self._board.fault.silent else 1.0
        screen.show("video-line", comes)
        screen.show("pin 5", ways.share("video", "pin 5"))
        feed_v = 2.0 * ways.share("video", "sync-feed")
        screen.show_volts("sync-feed", feed_v, frequency_hz=LINE_HZ)
        screen.show("pin 10", self.field_pulses)

    def _show_field(self, screen: Screen) -> None:
        hertz = self.field_hz
        # Triggered early, the sawtooth is cut a little shorter than when it runs free.
        running = (1.0 if self.field_held else 1.04) if hertz else 0.0
        screen.show("pin 11", 0.0 if self._lifted("pin 11") else running, frequency_hz=hertz)
        at_pad = 0.0 if self._lifted("pin 12") else self.ramp
        screen.show("pin 12", at_pad, frequency_hz=hertz)
        clipped = ("distorted",) if self.runs_away or self.ramp > _MOST_HEIGHT else ()
        drive = 0.4 if self.runs_away else self.height
        at_pad = 0.0 if self._lifted("pin 14") else drive
        screen.show("pin 14", at_pad, *clipped, frequency_hz=hertz)
        screen.show("pin 13", self.feedback, frequency_hz=hertz)
        screen.show_volts("yoke-sense", self.yoke * 1.2, frequency_hz=hertz)
        output_v = 0.6 * drive * self._ways.share("to the output", "vertical-output-stage")
        screen.show_volts("vertical-output-stage", output_v, frequency_hz=hertz)

    def symptoms(self) -> list[tuple[str, ...]]:
        """Return the symptoms of the set, the worst first."""
        if not self.line_output:
            return [("no line drive",)]
        shown: list[tuple[str, ...]] = []
        if not self.locked:
            shown.append(("picture tears",))
        if not self.yoke:
            return [*shown, ("no vertical deflection",)]
        if not self.field_held:
            shown.append(("picture rolls",))
        if self.yoke < 0.85:
            shown.append(("little height",))
        if self.muted:
            shown.append(("no sound",))
        return shown
