"""The three loops of a PAL decoder settled together on one board."""

from __future__ import annotations

from dataclasses import dataclass

from boards.board import Board
from boards.circuit import Drive

from .colour_loops import GainLoop, Killer, PhaseLoop

_LEAST_BURST = 0.1  # of the usual one, to compare phases with
_REFERENCE_ENOUGH = 0.7  # of the reference's volts, for detectors that are fed from it


@dataclass(frozen=True)
class PalDecoder:
    """The loops of a chip and the pins of their stores."""

    gain: GainLoop
    phase: PhaseLoop
    killer: Killer
    acc: str
    apc: str
    ident: str
    reference: str
    ground: str

    def reference_share(self, board: Board) -> float:
        """Return how much of the reference is there, 1 on a good board."""
        if board.fault.dead_stage == "reference":
            return 0.0
        nominal_v = board.electrics.chip.nominal_v[self.reference]
        volts = board.dc[self.reference] - board.dc[self.ground]
        return min(volts / nominal_v, 1.0)

    def is_usable(self, board: Board, *, powered: bool) -> bool:
        """Return whether colour can work at all: supply and reference."""
        return powered and self.reference_share(board) > _REFERENCE_ENOUGH

    def shares_left(self, board: Board, drive: Drive) -> dict[str, float]:
        """Return which share of the stores' own volts the board leaves at their pins."""
        own_v = {pin: drive.open_circuit_v[pin] for pin in (self.acc, self.apc, self.ident)}
        dc = board.with_stages(held_v=own_v).dc
        return {
            pin: 1.0 if pin in board.fault.lifted else (dc[pin] - dc[self.ground]) / volts
            for pin, volts in own_v.items()
        }

    def settle(
        self,
        board: Board,
        share: dict[str, float],
        *,
        at_input: float,
        usable: bool,
        gated: bool,
        oscillator_hz: float | None,
    ) -> Settled:
        """Return where the loops come to rest.

        ``at_input``: chroma, 1 in a good set; ``gated``: burst key and gate work;
        ``oscillator_hz``: how far the subcarrier runs off before it is steered, None when none
        reaches the detectors.
        """

        def dead(stage: str) -> bool:
            return board.fault.dead_stage == stage

        gated = gated and usable and not dead("burst-gate")
        measured = gated and not dead("acc-detector")
        acc_v, amplified = self.gain.settle(at_input, share[self.acc], burst_measured=measured)
        amplified = 0.0 if dead("acc-amplifier") or not usable else amplified
        burst = amplified if gated else 0.0
        comparing = (
            burst > _LEAST_BURST
            and oscillator_hz is not None
            and not dead("subcarrier-phase-detector")
            and self.apc not in board.fault.lifted  # without its filter the loop finds no rest
        )
        apc_v, off_hz, locked = self.phase.settle(
            oscillator_hz or 0.0, share[self.apc], burst=comparing
        )
        identified = locked and not dead("ident-detector")
        ident_v, killed = self.killer.settle(burst, share[self.ident], locked=identified)
        if not usable:  # the stores rest, as far as supply and reference go
            bias = self.reference_share(board)
            acc_v, apc_v = self.gain.quiet_v * bias, self.phase.rest_v * bias
            ident_v = self.killer.quiet_v
        return Settled(
            amplified=amplified,
            off_hz=off_hz,
            locked=locked,
            beats=comparing and not locked,
            killed=killed or not usable,
            held_v={self.acc: acc_v, self.apc: apc_v, self.ident: ident_v},
        )


@dataclass(frozen=True)
class Settled:
    """The loops at rest."""

    amplified: float
    """Chroma behind the controlled amplifier, 1 in a good set."""
    off_hz: float
    """How far the oscillator runs from nominal."""
    locked: bool
    beats: bool
    """Burst and oscillator are compared and do not lock: the phase detector shows the beat."""
    killed: bool
    held_v: dict[str, float]
    """The stores' own volts."""
