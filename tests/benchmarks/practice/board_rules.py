"""A board as the rules of its stages ask for it, and the settings that they make at its pins."""

from __future__ import annotations

import math
from collections.abc import Mapping

from boards.board import Board, Run
from boards.circuit import Drive, Electrics
from boards.faults import Fault

from .ways import Ways, spread_drive

_OHM_OF_A_FIRM_PIN = 100.0  # of a pin that a loop holds at its volts
_LEAST_V = 1e-3


class BoardRules:
    """Questions about one board, and the volts and resistances that stages give its pins.

    A subclass settles one set of stages; ``good`` is the same board, of the same parts and the
    same chip, without its fault.
    """

    def __init__(
        self, electrics: Electrics, drive: Drive, runs: Mapping[str, Run], seed: int, fault: Fault
    ) -> None:
        own = spread_drive(drive, seed)
        self.fault, self.seed = fault, seed
        self.board, self.good = Board(electrics, own, fault, seed), Board(electrics, own, seed=seed)
        self.ways = Ways(self.board, self.good, runs)
        self.own_v, self.parts = own.open_circuit_v, electrics.chip.parts
        self.held_v: dict[str, float] = {}
        self.inner_ohm: dict[str, float] = {}
        self.meter_v: dict[str, float] = {}

    def is_dead(self, *stages: str) -> bool:
        """Return whether one of these stages does nothing."""
        return self.fault.dead_stage in stages

    def is_lifted(self, *pins: str) -> bool:
        """Return whether the joint of one of these pins is open."""
        return any(pin in self.fault.lifted for pin in pins)

    def passes(self, *pins: str) -> float:
        """Return 1, or 0 where the joint of one of these pins is open."""
        return 0.0 if self.is_lifted(*pins) else 1.0

    def mode(self, ref: str) -> str:
        """Return how a part has failed; ``good`` for most."""
        failure = self.fault.failure(ref)
        return failure.mode if failure else "good"

    def value(self, ref: str, open_value: float = 0.0, shorted_value: float = 0.0) -> float:
        """Return a part's value now, and the values given when it is open or shorted.

        An open resistor or coil is best given as infinite, an open capacitor as nothing.
        """
        failure, nominal = self.fault.failure(ref), self.parts[ref].value or 0.0
        if failure is None or failure.mode == "leaky":
            return nominal
        if failure.mode == "value":
            return failure.figure
        return shorted_value if "short" in failure.mode else open_value

    def leak_ohm(self, ref: str) -> float:
        """Return the resistance across a capacitor; infinite for a good one."""
        failure = self.fault.failure(ref)
        if failure and failure.mode == "leaky":
            return failure.figure
        return 0.1 if failure and failure.mode == "shorted" else math.inf

    def inside_v(self, pin: str, ground: str = "") -> float:
        """Return the DC on the chip's side of a pin's joint, before stages have moved it."""
        return self.board.dc[f"inner {pin}"] - (self.board.dc[ground] if ground else 0.0)

    def of_good(self, pin: str, ground: str = "") -> float:
        """Return the DC on the chip's side of a pin as a share of that on the good board."""
        good_v = self.good.dc[pin] - (self.good.dc[ground] if ground else 0.0)
        return self.inside_v(pin, ground) / good_v if abs(good_v) > _LEAST_V else 0.0

    def silent(self, node: str) -> bool:
        """Return whether the signal from outside does not come to this node."""
        return node in self.fault.silent

    def hold(self, pin: str, volts: float, ohms: float | None = None) -> None:
        """Give a pin's source these volts of its own, and another resistance."""
        self.held_v[pin] = volts
        if ohms is not None:
            self.inner_ohm[pin] = ohms

    def hold_firmly(self, pin: str, wanted_v: float, most_v: float) -> float:
        """Hold a store that a detector charges at most to ``most_v``; return the volts inside.

        The detector gives only its limited current: a leak may leave it below ``wanted_v``.
        """
        reachable_v = self.settled({pin: most_v}).dc[f"inner {pin}"]
        if reachable_v >= wanted_v:
            self.hold(pin, wanted_v, _OHM_OF_A_FIRM_PIN)
            return wanted_v
        self.hold(pin, most_v)
        return reachable_v

    def settled(self, more_v: Mapping[str, float] | None = None) -> Board:
        """Return the board with all that was held until now, and some more."""
        return self.board.with_stages({**self.held_v, **(more_v or {})}, self.inner_ohm)
