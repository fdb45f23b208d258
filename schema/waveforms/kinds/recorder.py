"""In a recorder: luminance and chrominance as they go on the tape.

Both float about zero and follow absolute time; ``period_s`` is one line, which is
the picture on the screen.
"""

from functools import cached_property
from typing import ClassVar, Final, Literal, Self

from pydantic import field_validator, model_validator

from ...quantities import Quantity, parse_quantity, print_value
from ...quantities.fields import Angle
from ...systems import VIDEO_LEVELS
from ..base import Example, PositiveFrequency, PositivePeakToPeak, Samples, refusal
from ..carrier import Carrier
from ..colour_bars import BarPercent, bar_colours, compute_chrominance, spread_over_line
from ..corners import Corners
from ..line_rate import LineRate, check_quadrature
from ..video_signal import compute_bar_figures, draw_luminance_line, draw_sync_line, gate_burst

_LEAST_CYCLES_A_LINE: Final = 20
_COLOUR_UNDER_HZ: Final = (0.4e6, 1.5e6)
_PHASE_STEPS_DEG: Final = (-90.0, 0.0, 90.0)
_CHROMA_RISE_S: Final = 0.7e-6  # edges after about 0.5 MHz of recorded chroma bandwidth


class FmLuminance(Carrier, LineRate):
    """Carrier of constant amplitude whose frequency follows the luminance of colour bars.

    From sync tip to reference white it goes in proportion: 3.8 to 4.8 MHz in 625-line VHS, 3.4 to
    4.4 MHz in 525-line VHS (IEC 60774-1, from memory). Pre-emphasis is left out.
    """

    kind: Literal["FM luminance"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "bars": "75 %",
        "vpp": "600 mVpp",
        "sync_tip": "3.8 MHz",
        "white": "4.8 MHz",
    }
    bars: BarPercent
    """Amplitude of the bars whose luminance is recorded: 75 % or 100 %."""
    sync_tip: PositiveFrequency
    """Frequency at the sync tip."""
    white: PositiveFrequency
    """Frequency at reference white."""

    @model_validator(mode="after")
    def _check_frequencies(self) -> Self:
        """Raise for frequencies in the wrong order, or too low to carry video."""
        # Below this the carrier would follow the video too slowly to carry it.
        lowest_hz = _LEAST_CYCLES_A_LINE / self.line_s
        if not lowest_hz < self.sync_tip.nominal < self.white.nominal:
            raise refusal(
                f"sync tip {self.sync_tip} and white {self.white}",
                "white above sync tip, both far above the line frequency",
                "sync_tip: 3.8 MHz, white: 4.8 MHz",
            )
        return self

    @property
    def _per_volt_hz(self) -> float:
        return self.white.nominal - self.sync_tip.nominal

    @property
    def _blanking_hz(self) -> float:
        return self.sync_tip.nominal - float(VIDEO_LEVELS[self.system].sync) * self._per_volt_hz

    @property
    def _video(self) -> tuple[Corners, Corners]:
        """On the scale of 1 V from sync tip to white, with blanking at zero."""
        return draw_luminance_line(self.system, self.bars.nominal), draw_sync_line(self.system)

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about zero: the phase is the integral of the frequency, exactly."""
        import numpy as np

        cycles = self._blanking_hz * np.asarray(t_s)
        for part in self._video:
            cycles = cycles + self._per_volt_hz * part.integrate_volts(t_s)
        return np.asarray(self.vpp.nominal / 2 * np.sin(2 * np.pi * cycles))

    @property
    def carrier_hz(self) -> float:
        """The mean frequency, which a counter reads."""
        return self._blanking_hz + self._per_volt_hz * sum(part.mean_v for part in self._video)

    @property
    def fastest_hz(self) -> float:
        """The frequency at white."""
        return self.white.nominal

    @property
    def trigger(self) -> str:
        """There is no sync in the signal itself."""
        return "line sync from another point (external, TV line)"

    def describe(self) -> str:
        """Return frequencies, amplitude, bars and line rate in words."""
        return (
            f"Luminance of {self.bars} {self.system} colour bars as a frequency-modulated "
            f"carrier for the tape: {print_value(self.vpp.nominal, 'Vpp')}, {self.sync_tip} at "
            f"the sync tip and {self.white} at white, lines at {self.line_rate}."
        )


def _check_quarter_turn(angle: Quantity) -> Quantity:
    """Return the angle; raise unless it is a quarter turn or none."""
    if angle.nominal not in _PHASE_STEPS_DEG:
        raise refusal(f"phase step {angle}", "-90°, 0° or 90°", "-90°")
    return angle


class ColourUnder(LineRate):
    """Chrominance of colour bars brought down for the tape.

    It is the lower product of the chrominance and a carrier at subcarrier plus ``frequency``, so
    its phase runs the other way. One head records it with a quarter turn of phase from line to
    line; the other with none (625-line VHS, 626.953 kHz = 40 1/8 lines) or with one the other way
    (525-line VHS, 629.371 kHz = 40 lines). IEC 60774-1, from memory.
    """

    kind: Literal["colour-under"]
    example: ClassVar[Example] = {
        "system": "PAL-B/G",
        "frequency": "626.953 kHz",
        "bars": "75 %",
        "burst": "120 mVpp",
    }
    frequency: PositiveFrequency
    """Carrier on the tape."""
    bars: BarPercent
    """Amplitude of the coloured bars: 75 % or 100 %."""
    burst: PositivePeakToPeak
    """Burst, peak to peak; the bars follow in the proportion the system sets."""
    phase_step: Angle = parse_quantity("-90°", "°")
    """Turn of phase from each line to the next as one head has it: -90°, 0° or 90°."""

    _check_phase_step = field_validator("phase_step")(_check_quarter_turn)

    _check_system = field_validator("system")(check_quadrature)

    @model_validator(mode="after")
    def _check_frequency(self) -> Self:
        """Raise for a carrier that no colour-under recorder uses."""
        low_hz, high_hz = _COLOUR_UNDER_HZ
        if not low_hz <= self.frequency.nominal <= high_hz:
            raise refusal(f"frequency {self.frequency}", "from 400 kHz to 1.5 MHz", "626.953 kHz")
        return self

    @property
    def volts_of_unit(self) -> float:
        """Volts of 1 V of the standard's signal, by the burst."""
        return self.burst.nominal / float(VIDEO_LEVELS[self.system].burst_pp)

    @cached_property
    def _colours(self) -> tuple[Corners, Corners]:
        """U and V of the bars along the line, in volts."""
        levels = VIDEO_LEVELS[self.system]
        span_v = self.volts_of_unit * float(levels.white - levels.black)
        colours = bar_colours(self.system, self.bars.nominal)
        pairs = [compute_chrominance(colour) for colour in colours]
        return (
            spread_over_line(self.system, [span_v * u for u, _ in pairs], _CHROMA_RISE_S),
            spread_over_line(self.system, [span_v * v for _, v in pairs], _CHROMA_RISE_S),
        )

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about the middle of the carrier."""
        import numpy as np

        u, v = (colour(t_s) for colour in self._colours)
        burst = gate_burst(self.system)(t_s) * self.burst.nominal / 2
        line = np.floor(np.multiply(t_s, float(self.scanning.line_hz)))
        if self.system.startswith("PAL"):
            switch = 1 - 2 * np.mod(line, 2)
            u, v = u - burst * np.sqrt(0.5), switch * (v + burst * np.sqrt(0.5))
        else:
            u = u - burst
        turned = np.deg2rad(self.phase_step.nominal) * np.mod(line, 4)
        angle = 2 * np.pi * self.frequency.nominal * np.asarray(t_s) + turned
        return np.asarray(v * np.cos(angle) - u * np.sin(angle))

    @property
    def frequency_hz(self) -> float:
        """The carrier on the tape."""
        return self.frequency.nominal

    @property
    def fastest_hz(self) -> float:
        """The carrier on the tape."""
        return self.frequency.nominal

    @cached_property
    def extremes_v(self) -> tuple[float, float, float]:
        """The strongest bar, below and above zero."""
        bars = compute_bar_figures(self.system, self.bars.nominal)
        peak_v = self.volts_of_unit * max(bar.amplitude_v for bar in bars)
        return -peak_v, peak_v, 0.0

    @property
    def trigger(self) -> str:
        """There is no sync in the signal itself."""
        return "line sync from another point (external, TV line)"

    def describe(self) -> str:
        """Return carrier, bars, burst, phase step and line rate in words."""
        turn = f"turned by {self.phase_step}" if self.phase_step.nominal else "not turned"
        return (
            f"Colour-under carrier of {self.bars} {self.system} colour bars at {self.frequency}: "
            f"burst of {print_value(self.burst.nominal, 'Vpp')}, phase {turn} from line to line, "
            f"lines at {self.line_rate}."
        )
