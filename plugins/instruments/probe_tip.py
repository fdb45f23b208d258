"""Loading of a pin's signal by the tip of a probe."""

from __future__ import annotations

from typing import Final, overload

from ...schema.chips.data import Pin
from ...schema.instruments import Probe
from ...schema.measuring.loading import Complex, Numbers, compute_loading_gain

_ORDINARY_PIN_F: Final = 5e-12  # an IC pin and its track on the board. Common practice.


@overload
def compute_tip_gain(
    frequency_hz: float, pin: Pin, probe: Probe, beside_f: float = 0.0
) -> complex: ...
@overload
def compute_tip_gain(
    frequency_hz: Numbers, pin: Pin, probe: Probe, beside_f: float = 0.0
) -> Complex: ...
def compute_tip_gain(
    frequency_hz: float | Numbers, pin: Pin, probe: Probe, beside_f: float = 0.0
) -> complex | Complex:
    """Return the complex share of the signal that remains with the probe connected.

    ``frequency_hz`` and the result have the same shape. ``beside_f`` is the capacitance in farad
    of the parts from the pin to ground.
    """
    resistance = pin.resistance
    # The resistance of an input is not that of its source, which is lower and not known: assume
    # no loss.
    if resistance is None or resistance.nominal <= 0 or pin.role == "input":
        return 1 + 0j * frequency_hz
    node_f = beside_f + (pin.capacitance.nominal if pin.capacitance else _ORDINARY_PIN_F)
    tip_ohm, tip_f = probe.resistance.nominal, probe.capacitance.nominal
    return compute_loading_gain(frequency_hz, resistance.nominal, node_f, tip_ohm, tip_f)
