"""The instrument's part in a measured figure: taken out where it is known, else its doubt added."""

from __future__ import annotations

import math
from typing import Final

from ....schema.chips.data import Pin
from ....schema.instruments import Instruments
from ..conformance import convert_half_width
from ..correction import CorrectedValue, compute_response
from .figure import Figure
from .judged_figure import Correct

_CHROMA: Final = ("burst amplitude", "chroma over luminance", "chroma of the bars")
_CHROMA_END: Final = " chroma"
_RATIOS: Final = ("%", "°", "dB", "cycles")


def make_correction(
    pin: Pin, chosen: Instruments, carrier_hz: float, beside_f: float = 0.0
) -> Correct:
    """Return the function that corrects a figure for the instruments.

    Volts get the oscilloscope's gain error, times and frequencies that of its timebase; chroma is
    divided by the response at ``carrier_hz``. ``beside_f`` is the capacitance beside the pin.
    """
    response = compute_response(carrier_hz, pin, chosen, beside_f) if carrier_hz else None
    gain_error = convert_half_width(chosen.scope.gain_percent.nominal / 100)
    timebase_error = convert_half_width(chosen.scope.timebase_percent.nominal / 100)

    def correct(figure: Figure) -> CorrectedValue:
        value, uncertainty, instrument_error = figure.value, figure.uncertainty, 0.0
        if response is not None and _is_chroma(figure.name):
            value, uncertainty = value / response.value, uncertainty / response.value
            instrument_error = value * response.uncertainty / response.value
        # In a ratio of two figures of one record the instrument's error cancels.
        if figure.unit not in _RATIOS:
            relative_error = gain_error if figure.unit in ("V", "Vpp") else timebase_error
            instrument_error = math.hypot(instrument_error, relative_error * value)
        return CorrectedValue(value, math.hypot(uncertainty, instrument_error))

    return correct


def _is_chroma(name: str) -> bool:
    return name in _CHROMA or name.endswith(_CHROMA_END)
