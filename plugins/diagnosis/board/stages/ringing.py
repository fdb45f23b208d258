"""Oscillators whose resonator no longer keeps them going: wild on strays, or ringing by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cloud import Seen
from ..resonators import Drive
from ..signals import Signal
from .base import Stage

Array = NDArray[Any]

_STILL_RINGS: Final = 1e-4  # of the good drive: strays keep a resonator swinging a little


class RingingStage(Stage):
    """A stage that swings on a drawn resonator."""

    resonator: str | None
    drive: Drive
    _swing: Array

    def _run_wild(self, signal: Signal, alive: Array) -> Signal:
        """Return the signal, running wild on strays where the resonator no longer keeps it going.

        At the pin it then jumps about, far below its frequency; behind the resonator's own series
        capacitor the little that swings is on frequency.
        """
        weak = (signal.level < 0.12) & (alive > 0.3)
        lost = self.draw_event("runs wild", 0.55) & weak
        jumpy = Signal(
            self.draw_figure("wild level", 0.15, 0.9),
            self.draw_figure("wild level", 0.15, 0.9),
            self.draw_figure("wild rate", 0.12, 0.8) - 1,
            np.full(self.count, int(Seen.UNSTABLE), dtype=np.uint8),
        )
        self._show_resonator(lost)
        return jumpy.choose_where(lost, signal)

    def _show_resonator(self, lost: Array) -> None:
        """Let the resonator's leads show its own swing; on frequency also where the pin is lost."""
        zero = np.zeros(self.count, np.uint8)
        rings = np.where(self.drive.strength > _STILL_RINGS, 0.35, 0.0)
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        for name in self._list_resonator_ends():
            share = self.drive.at_ends[:, part.joins.index(name)]
            alone = Signal(rings * share, rings * share, self.drive.pull, zero)

            def swing(shown: Signal, share: Array = share, alone: Signal = alone) -> Signal:
                level = self._swing * share * np.where(shown.level > 0, 1.0, 0.0)
                running = replace(shown, level=level, colour=level.copy())
                return alone.choose_where(lost, running)

            self.settled.overruled[name] = swing

    def _list_resonator_ends(self) -> list[str]:
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        ends = [e for e in part.joins if e in self.topology.index and e != "ground"]
        return [e for e in ends if e not in self.topology.pin_at]
