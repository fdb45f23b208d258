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
_RINGING_LEVEL: Final = 0.35  # of the good swing, at a resonator that its stage still tickles
_STALLED: Final = 0.12  # of the good level: the resonator no longer keeps the stage going
_ALIVE: Final = 0.3
_RUNS_WILD: Final = 0.55  # of stages without a resonator, those that swing on strays
_WILD_LEVEL: Final = (0.15, 0.9)
_WILD_RATE: Final = (0.12, 0.8)  # of the resonator's frequency


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
        is_stalled = (signal.level < _STALLED) & (alive > _ALIVE)
        is_wild = self.draw_event("runs wild", _RUNS_WILD) & is_stalled
        wild_level = self.draw_figure("wild level", *_WILD_LEVEL)
        # On strays alone it runs at a fraction of its frequency, and jumps.
        wild = Signal(
            wild_level,
            wild_level.copy(),
            self.draw_figure("wild rate", *_WILD_RATE) - 1,
            np.full(self.count, int(Seen.UNSTABLE), dtype=np.uint8),
        )
        self._show_resonator(is_wild)
        return wild.choose_where(is_wild, signal)

    def _show_resonator(self, is_wild: Array) -> None:
        """Let the resonator's leads show its own swing, on frequency also where the pin runs wild.

        A probe at a lead that leads to no pin sees the resonator, not the stage.
        """
        steady = np.zeros(self.count, np.uint8)
        ringing_level = np.where(self.drive.strength > _STILL_RINGS, _RINGING_LEVEL, 0.0)
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        for name in self._list_resonator_ends():
            end_share = self.drive.at_ends[:, part.joins.index(name)]
            end_level = ringing_level * end_share
            ringing = Signal(end_level, end_level.copy(), self.drive.pull, steady)

            def show(shown: Signal, share: Array = end_share, ringing: Signal = ringing) -> Signal:
                # In step with its stage the resonator swings as the stage drives it.
                level = self._swing * share * np.where(shown.level > 0, 1.0, 0.0)
                running = replace(shown, level=level, colour=level.copy())
                return ringing.choose_where(is_wild, running)

            self.settled.overruled[name] = show

    def _list_resonator_ends(self) -> list[str]:
        part = next(p for p in self.topology.chip.application.parts if p.ref == self.resonator)
        ends = [e for e in part.joins if e in self.topology.index and e != "ground"]
        return [e for e in ends if e not in self.topology.pin_at]
