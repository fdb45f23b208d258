"""Stages that hold a voltage, or take orders: references, biases, bus receivers."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from .base import Stage

_DROPOUT_SHARE: Final = 1.15  # of the reference: the supply that it needs
_LEFT_WHEN_DEAD: Final = (5e-4, 0.1)  # of its volts: nothing, or a junction that leaks
_HALVES: Final = r"half|ripple|supply filter|divider"


class Reference(Stage):
    """Holds its output while the supply suffices; one made by division follows the supply."""

    kind = "reference"

    def advance(self) -> None:
        """Set the pins that the reference drives, and say how good it is."""
        alive = self.health * self.compute_power()
        level = alive.copy()
        left = self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id}: left when dead", *_LEFT_WHEN_DEAD)
        )
        for pin in self.block.outputs:
            if pin not in self.topology.pin_at or not self.settled.has_source(pin):
                continue
            good = self.settled.read_good_volts(pin)
            supply = self.topology.supply_of.get(pin)
            share = (
                self.settled.compute_share(supply) if supply is not None else np.ones(self.count)
            )
            nominal = self.topology.find_nominal_v(supply) if supply is not None else 12.0
            words = f"{self.block.name} {self.topology.pin_at[pin].function}"
            if re.search(_HALVES, words, re.IGNORECASE):
                held = np.clip(share, 0, 1.5)
            else:
                held = np.clip(share * nominal / (_DROPOUT_SHARE * good), 0, 1)
            self.settled.steer(pin, good * held * np.clip(alive, left, 1))
            self.settled.absolute.add(pin)
            level = np.minimum(
                level, np.clip(self._compute_one_bias(self.settled.compute_share(pin)), 0, 1)
            )
        self.settled.out[self.block.id] = self.make_good_signal().amplify(np.clip(level, 0, 1))


class BusReceiver(Stage):
    """Takes orders while its bus lives; without, its stages stay as they woke up."""

    kind = "bus receiver"

    def advance(self) -> None:
        """Say whether orders come in."""
        alive = self.health * self.compute_power()
        for pin in self.list_pins("bus"):
            lifted = self.boards.is_lifted[:, self.topology.index[pin]]
            stuck = np.abs(self.settled.compute_share(pin) - 1) > 0.5
            alive = np.where(lifted | stuck, 0.0, alive)
        # What was last ordered may stay.
        kept = np.where(self.draw_event("kept", 0.4), 1.0, alive)
        self.settled.out[self.block.id] = self.make_good_signal().amplify(kept)
