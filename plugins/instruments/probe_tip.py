"""What the tip of a probe leaves of a pin's signal."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...schema import Pin
from ...schema.instruments import Probe
from ...schema.measuring.loading import loading_gain

_ORDINARY_PIN_F: Final = 5e-12  # an IC pin and its print track. Common practice.


def compute_tip_gain(
    frequency_hz: NDArray[np.float64], pin: Pin, probe: Probe, beside_f: float = 0.0
) -> NDArray[np.complex128]:
    """Share of the pin's signal that is left with the probe on it, at each frequency.

    ``beside_f`` are the capacitors from the pin to ground. An input's own resistance is not that
    of what drives it, which is lower and not known: there nothing is taken to be lost.
    """
    resistance = pin.resistance
    if resistance is None or resistance.nominal <= 0 or pin.role == "input":
        return np.ones_like(frequency_hz, dtype=np.complex128)
    node_f = beside_f + (pin.capacitance.nominal if pin.capacitance else _ORDINARY_PIN_F)
    tip_ohm, tip_f = probe.resistance.nominal, probe.capacitance.nominal
    return loading_gain(frequency_hz, resistance.nominal, node_f, tip_ohm, tip_f)
