"""Carriers with something on them: vision IF, FM sound carrier, stereo pilot.

Each floats about zero. ``frequency_hz`` is the carrier, which a counter reads;
``period_s`` is that of the modulation, after which the envelope repeats. The carrier itself
follows absolute time, so it repeats with it only where it is a whole multiple.
"""

from typing import Annotated, ClassVar, Final, Literal, Self

from pydantic import AfterValidator, field_validator, model_validator

from ...quantities import Quantity, parse_quantity, print_value
from ...quantities.fields import Percent
from ...systems import VIDEO_LEVELS
from ..base import Example, PositiveFrequency, Samples, refusal
from ..carrier import Carrier
from ..line_rate import LineRate, check_quadrature
from ..video_signal import draw_luminance_line, draw_sync_line, modulate_chrominance

_BARS: Final = 75.0  # 100 % bars would take the carrier through zero
_CARRIER_CYCLES_SEEN: Final = 6
_LOWEST_IF_HZ: Final = 10e6


def _check_below_all(percent: Quantity) -> Quantity:
    """Return the percentage; raise unless it is from 0 to below 100."""
    if not 0 <= percent.nominal < 100:
        raise refusal(f"{percent}", "from 0 % to below 100 %", "10 %")
    return percent


Share = Annotated[Percent, AfterValidator(_check_below_all)]


class ModulatedIf(Carrier, LineRate):
    """Vision carrier with negative amplitude modulation by 75 % colour bars.

    The carrier is strongest at the sync tip and falls in proportion to the video signal, down to
    the residual carrier at reference white: with 625 lines and 10 % left, blanking is at 73 %
    (72.5 to 77.5 % in Recommendation ITU-R BT.470-6). The slope of the IF filter is left out.
    """

    kind: Literal["modulated IF"]
    example: ClassVar[Example] = {"system": "PAL-B/G", "carrier": "38.9 MHz", "vpp": "200 mVpp"}
    carrier: PositiveFrequency
    """Vision carrier as it is at the pin."""
    residual: Share = parse_quantity("10 %", "%")
    """Carrier left at reference white, of that at the sync tip; 10 to 12.5 %, system I 20 %."""

    _check_system = field_validator("system")(check_quadrature)

    @model_validator(mode="after")
    def _check_carrier(self) -> Self:
        """Raise for a carrier too low for an intermediate frequency."""
        if self.carrier.nominal < _LOWEST_IF_HZ:
            raise refusal(f"carrier {self.carrier}", "an IF of 10 MHz or more", "38.9 MHz")
        return self

    def envelope(self, t_s: Samples) -> Samples:
        """Return the carrier amplitude at ``t_s``: 1 at the sync tip, the residual at white."""
        levels, system = VIDEO_LEVELS[self.system], self.system
        video = draw_luminance_line(system, _BARS)(t_s) + draw_sync_line(system)(t_s)
        above_tip = video + modulate_chrominance(system, _BARS, t_s) - float(levels.sync)
        return 1 - (1 - self.residual.nominal / 100) * above_tip

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about zero."""
        import numpy as np

        angle = 2 * np.pi * self.carrier.nominal * np.asarray(t_s)
        return np.asarray(self.vpp.nominal / 2 * self.envelope(t_s) * np.cos(angle))

    @property
    def carrier_hz(self) -> float:
        """The vision carrier."""
        return self.carrier.nominal

    @property
    def trigger(self) -> str:
        """The sweep cannot follow the carrier."""
        return "line sync from another point (external, TV line)"

    def describe(self) -> str:
        """Return carrier, amplitude, residual and line rate in words."""
        return (
            f"{self.system} vision carrier at {self.carrier} with negative modulation by 75 % "
            f"colour bars: {print_value(self.vpp.nominal, 'Vpp')} at the sync tip, {self.residual} "
            f"of it left at white, lines at {self.line_rate}."
        )


class FmCarrier(Carrier):
    """A carrier frequency-modulated by one tone: v = vpp/2 sin(2 pi fc t + b sin(2 pi fm t)).

    The index b is the peak deviation over the tone. Sidebands are at whole multiples of the
    tone, with amplitudes by the Bessel functions J0(b), J1(b) ... (J. R. Carson, 1922).
    """

    kind: Literal["FM carrier"]
    example: ClassVar[Example] = {
        "carrier": "5.5 MHz",
        "vpp": "150 mVpp",
        "deviation": "50 kHz",
        "tone": "1 kHz",
    }
    carrier: PositiveFrequency
    """Carrier frequency at rest."""
    deviation: PositiveFrequency
    """Peak deviation to either side."""
    tone: PositiveFrequency
    """Modulating tone."""

    @model_validator(mode="after")
    def _check_deviation(self) -> Self:
        """Raise for a deviation or tone that is not below the carrier."""
        if max(self.deviation.nominal, self.tone.nominal) >= self.carrier.nominal:
            raise refusal(
                f"deviation {self.deviation} and tone {self.tone}",
                f"both below the carrier of {self.carrier}",
                "carrier: 5.5 MHz, deviation: 50 kHz, tone: 1 kHz",
            )
        return self

    @property
    def index(self) -> float:
        """Peak phase deviation in radians."""
        return self.deviation.nominal / self.tone.nominal

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about zero."""
        import numpy as np

        turns = 2 * np.pi * np.asarray(t_s)
        swing = self.index * np.sin(turns * self.tone.nominal)
        return np.asarray(self.vpp.nominal / 2 * np.sin(turns * self.carrier.nominal + swing))

    @property
    def carrier_hz(self) -> float:
        """The carrier at rest."""
        return self.carrier.nominal

    @property
    def period_s(self) -> float:
        """One cycle of the tone."""
        return 1 / self.tone.nominal

    @property
    def view_s(self) -> float:
        """A few cycles of the carrier."""
        return _CARRIER_CYCLES_SEEN / self.carrier.nominal

    def describe(self) -> str:
        """Return carrier, amplitude, deviation and tone in words."""
        return (
            f"A frequency-modulated carrier of {print_value(self.vpp.nominal, 'Vpp')} at "
            f"{self.carrier}, deviation ±{self.deviation} by a tone of {self.tone}; its amplitude "
            f"does not change."
        )


class Pilot(Carrier):
    """A pilot tone, which may carry an identification tone as amplitude modulation.

    Two-carrier television stereo: 54.6875 kHz, 50 % deep, 117.5 Hz for stereo and 274.1 Hz for
    two languages (Recommendation ITU-R BS.707). FM radio stereo: a bare 19 kHz (47 CFR 73.322).
    """

    kind: Literal["pilot"]
    example: ClassVar[Example] = {
        "frequency": "54.6875 kHz",
        "vpp": "80 mVpp",
        "identification": "117.5 Hz",
        "depth": "50 %",
    }
    frequency: PositiveFrequency
    """Frequency of the pilot."""
    identification: PositiveFrequency | None = None
    """Tone on it; none when not given."""
    depth: Share | None = None
    """How deep the tone modulates it; belongs to ``identification``."""

    @model_validator(mode="after")
    def _check_identification(self) -> Self:
        """Raise for a tone without its depth, or above the pilot."""
        if (self.identification is None) != (self.depth is None):
            given = "a depth" if self.identification is None else "an identification"
            raise refusal(
                f"{given} alone",
                "identification and depth together",
                "identification: 117.5 Hz, depth: 50 %",
            )
        if self.identification and self.identification.nominal >= self.frequency.nominal:
            raise refusal(
                f"identification {self.identification}",
                f"a tone below the pilot of {self.frequency}",
                "identification: 117.5 Hz",
            )
        return self

    def volts(self, t_s: Samples) -> Samples:
        """Return volts about zero."""
        import numpy as np

        turns, amplitude = 2 * np.pi * np.asarray(t_s), self.vpp.nominal / 2
        wave = np.sin(turns * self.frequency.nominal)
        if self.identification is not None and self.depth is not None:
            depth = self.depth.nominal / 100
            wave *= (1 + depth * np.cos(turns * self.identification.nominal)) / (1 + depth)
        return np.asarray(amplitude * wave)

    @property
    def carrier_hz(self) -> float:
        """The pilot."""
        return self.frequency.nominal

    @property
    def period_s(self) -> float:
        """One cycle of the identification, or of the pilot alone."""
        return 1 / (self.identification or self.frequency).nominal

    def describe(self) -> str:
        """Return frequency, amplitude and identification in words."""
        tone = (
            f", amplitude-modulated {self.depth} deep by an identification tone of "
            f"{self.identification}"
            if self.identification is not None
            else ", without an identification tone"
        )
        return f"A pilot of {print_value(self.vpp.nominal, 'Vpp')} at {self.frequency}{tone}."
