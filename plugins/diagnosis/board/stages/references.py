"""Stages that hold a voltage, or take orders: references, biases, bus receivers."""

from __future__ import annotations

import re
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .base import Stage

Array = NDArray[Any]

_DROPOUT_SHARE: Final = 1.15  # of the reference: the supply that it needs
_LEFT_WHEN_DEAD: Final = (5e-4, 0.1)  # of its volts: nothing, or a junction that leaks
_HALVES: Final = r"half|ripple|supply filter|divider"
_USUAL_SUPPLY_V: Final = 12.0  # where none is stated


class Reference(Stage):
    """Holds its output while the supply suffices; one made by division follows the supply."""

    kind = "reference"

    def advance(self) -> None:
        """Set the pins that the reference drives, and the stage's level: 1 while all are good."""
        alive = self.health * self.compute_power()
        level = alive.copy()
        least_share = self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id}: left when dead", *_LEFT_WHEN_DEAD)
        )
        for pin in self.block.outputs:
            if pin not in self.topology.pin_at or not self.settled.has_source(pin):
                continue
            good_v = self.settled.read_good_volts(pin)
            held_share = self._compute_held_share(pin, good_v)
            # A dead reference leaves nothing, or the little that leaks through a junction.
            self.settled.steer(pin, good_v * held_share * np.clip(alive, least_share, 1))
            self.settled.absolute.add(pin)
            bias = self._compute_one_bias(self.settled.compute_share(pin))
            level = np.minimum(level, np.clip(bias, 0, 1))
        self.settled.out[self.block.id] = self.make_good_signal().amplify(np.clip(level, 0, 1))

    def _compute_held_share(self, pin: str, good_v: Array) -> Array:
        """Return the share of its good volts that the supply lets a reference pin hold."""
        supply = self.topology.supply_of.get(pin)
        supply_share, supply_v = np.ones(self.count), _USUAL_SUPPLY_V
        if supply is not None:
            supply_share = self.settled.compute_share(supply)
            supply_v = self.topology.find_nominal_v(supply)
        words = f"{self.block.name} {self.topology.pin_at[pin].function}"
        if re.search(_HALVES, words, re.IGNORECASE):
            # Divided from the supply, and so moving with it.
            return np.clip(supply_share, 0, 1.5)
        return np.clip(supply_share * supply_v / (_DROPOUT_SHARE * good_v), 0, 1)


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
