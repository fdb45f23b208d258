"""Composite video held against the pin's expectation and the standard, and its defects named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from ....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ....schema.quantities import Quantity, print_value
from . import broadcast_limits as limits
from .bars import BarReadings
from .broadcast_limits import Nominal, read_nominal
from .composite import CompositeReading, find_white_v
from .decoding.response import BANDWIDTH
from .decoding.secam_colour import DEVIATION, REST, SIZE, list_secam_spans
from .defects import Defect
from .disturbances import ALTERNATION
from .judged_figure import Correct, JudgedFigure, Span, hold
from .system import NO_BURST, SAMPLED_TOO_SLOWLY, UNKNOWN_COLOUR, DetectedSystem

_MISSING_SHARE: Final = 0.12  # of the nominal amplitude: less counts as missing
_OFF_LINE_RATE: Final = 0.008  # beyond the line rates of both kinds of system
_SURE: Final = 5.0  # standard uncertainties
_OTHER_CARRIER_HZ: Final = 2e5
_SWITCH_STOPPED_DEG: Final = 20.0  # of swing that is left
_TENTH: Final = (0.08, 0.125)  # of the nominal size, or of its inverse: a probe's factor
_CHROMA_SHARE: Final = (0.7, 1.4)  # of the nominal: a receiver's chroma path. Common practice.
_INFINITE: Final = float("inf")
_LONGEST_RISE_S: Final = 0.6e-6  # of sync: slower edges are soft
_SET_SHARE: Final = 1.5  # of the tolerance of setup, that of the set included
_CYCLES_SLACK: Final = 0.5  # to which the ends of a burst are detected
_START_SLACK_S: Final = 0.1e-6
_SHORT_OF_WHITE: Final = 0.88  # white bar over the white that the other bars give
_HUM: Final = ("hum at", "wander of blanking")
_STANDARD: Final = "BT.470-6, BT.1700; SMPTE 170M"
_PIN: Final = "the pin's expectation"
_PRACTICE: Final = "common practice"
_WRONG_SYSTEM: Final = "wrong system"
_LINE_RATE_DIGITS: Final = 6
_OUTSIDE: Final = ("too low", "too high")


@dataclass(frozen=True)
class Expected:
    """A composite video signal as a pin should show it."""

    system: str
    vpp: Quantity
    """Sync tip to reference white."""
    sync_up: bool
    has_colour: bool
    """Whether there is a burst, or a SECAM carrier."""
    bars_percent: float | None
    """None for a picture other than colour bars."""
    burst: Quantity | None = None
    """Burst, peak to peak, where a trap leaves less than the system sets; the bars follow."""
    sync_only: bool = False
    """Whether ``vpp`` is the height of sync, with no picture on it."""

    @property
    def nominal(self) -> Nominal:
        """Figures of the system, on the scale of 1 V."""
        nominal = read_nominal(self.system)
        return replace(nominal, sync=1.0) if self.sync_only else nominal

    @property
    def burst_v(self) -> float:
        """Burst, peak to peak."""
        whole_v = self.nominal.burst_pp * self.vpp.nominal
        return whole_v if self.burst is None else self.burst.nominal

    @property
    def colour_share(self) -> float:
        """The colour that should be left, over that of the system."""
        return self.burst_v / (self.nominal.burst_pp * self.vpp.nominal)

    @property
    def shares(self) -> tuple[float, float]:
        """Lowest and highest amplitude that is as expected, over the nominal one."""
        low_v, high_v = self.vpp.limits(ASSUMED_WAVEFORM_PERCENT)
        return low_v / self.vpp.nominal, high_v / self.vpp.nominal

    def scale(
        self, share: float, tolerance: tuple[float, float] | None = None
    ) -> tuple[float, float]:
        """Return the limits of an amplitude that is a share of sync tip to white."""
        low, high = tolerance or self.shares
        return share * self.vpp.nominal * low, share * self.vpp.nominal * high


def judge_composite(
    reading: CompositeReading, expected: Expected, correct: Correct
) -> tuple[tuple[JudgedFigure, ...], tuple[Defect, ...]]:
    """Return every figure with its verdict, and the defects that they show, worst first."""
    spans = dict(_list_spans(expected, reading))
    no_limits: tuple[None, str] = (None, "")
    judged_figures = tuple(
        hold(figure, correct, *spans.get(figure.name, no_limits))
        for figure in reading.figures.values()
    )
    # A wrong factor of the probe makes every size wrong: nothing else is said beside it.
    factor_defect = find_probe_factor(reading, expected)
    if factor_defect is not None:
        return judged_figures, (factor_defect,)
    figures = {figure.name: figure for figure in judged_figures}
    return judged_figures, tuple(_name_defects(reading, expected, figures))


def find_probe_factor(reading: CompositeReading, expected: Expected) -> Defect | None:
    """Return the defect of a record in which all has a tenth of its size, or ten times it."""
    nominal, whole_v = expected.nominal, expected.vpp.nominal
    if "sync amplitude" not in reading.figures:
        return None
    sync_size = reading.figures["sync amplitude"].value / (nominal.sync * whole_v)
    sizes = [sync_size]
    if reading.bars is not None:
        sizes.append(reading.bars.luminance_gain.value / whole_v)
    low, high = _TENTH
    if all(low < size < high for size in sizes):
        times = "a tenth"
    elif min(sizes) > 0 and all(low < 1 / size < high for size in sizes):
        times = "ten times"
    else:
        return None
    measured = print_value(sync_size * nominal.sync * whole_v, "V")
    right = print_value(nominal.sync * whole_v, "V")
    why = f"everything is {times} its size: sync {measured} instead of {right}"
    return Defect("probe at divide-by-ten", why)


def _list_spans(expected: Expected, reading: CompositeReading) -> Iterator[tuple[str, Span]]:
    """Yield the limits of each figure and their source, by the figure's name."""
    nominal, whole_v = expected.nominal, expected.vpp.nominal
    yield "sync amplitude", (expected.scale(nominal.sync), _PIN)
    slack_s = limits.SYNC_TOLERANCE_S[nominal.lines] + limits.CASCADE_S
    yield "sync width", ((nominal.sync_s - slack_s, nominal.sync_s + slack_s), _STANDARD)
    yield "sync rise time", ((-_INFINITE, _LONGEST_RISE_S), _PRACTICE)
    yield from _list_colour_spans(expected)
    if reading.bars is not None:
        white_bar = reading.bars.find("white")
        if white_bar is not None:
            yield "white bar", (expected.scale(white_bar.expected_luminance), _PIN)
        # A set adds its own error to the transmitter's setup.
        setup_v = limits.SETUP_TOLERANCE * whole_v * _SET_SHARE
        black_v = nominal.black * whole_v
        yield "black level over blanking", ((black_v - setup_v, black_v + setup_v), _STANDARD)
    yield BANDWIDTH, ((limits.LEAST_BANDWIDTH_HZ, _INFINITE), _PRACTICE)
    yield "signal to noise", ((limits.LEAST_SIGNAL_TO_NOISE_DB, _INFINITE), _PRACTICE)
    most_hum_v = limits.MOST_HUM_PERCENT / 100 * whole_v
    for name in reading.figures:
        if name.startswith(_HUM):
            yield name, ((-_INFINITE, most_hum_v), _PRACTICE)
    yield ALTERNATION, ((-_INFINITE, limits.MOST_ALTERNATION * whole_v), _PRACTICE)
    yield "line jitter, rms", ((-_INFINITE, limits.MOST_JITTER_S), _PRACTICE)
    yield "overshoot of sync", ((-_INFINITE, limits.MOST_OVERSHOOT_PERCENT), _PRACTICE)
    for name, most, source in (
        ("chroma to luminance delay", limits.MOST_CHROMA_DELAY_S, _STANDARD),
        ("differential gain", limits.MOST_DIFFERENTIAL_GAIN_PERCENT, _PRACTICE),
        ("differential phase", limits.MOST_DIFFERENTIAL_PHASE_DEG, _PRACTICE),
    ):
        yield name, ((-most, most), source)


def _list_colour_spans(expected: Expected) -> Iterator[tuple[str, Span]]:
    """Yield the limits of burst and chroma; none for a signal without colour, or SECAM."""
    nominal = expected.nominal
    if not expected.has_colour:
        return
    if nominal.colour == "SECAM":
        percent = expected.bars_percent
        yield from list_secam_spans(expected.system, percent, expected.vpp.nominal).items()
        return
    low, high = expected.shares
    least_share, most_share = min(low, _CHROMA_SHARE[0]), max(high, _CHROMA_SHARE[1])
    burst_v = expected.burst_v
    yield "burst amplitude", ((least_share * burst_v, most_share * burst_v), _PIN)
    cycles, slack = nominal.burst_cycles, limits.BURST_CYCLES_TOLERANCE + _CYCLES_SLACK
    yield "burst cycles", ((cycles - slack, cycles + slack), _STANDARD)
    start_s = nominal.burst_start_s
    slack_s = limits.BURST_START_TOLERANCE_S[nominal.lines] + limits.CASCADE_S + _START_SLACK_S
    yield "burst start after sync", ((start_s - slack_s, start_s + slack_s), _STANDARD)
    # 135° and 225° by turns in PAL, always 180° in NTSC.
    swing_deg = 90.0 if nominal.colour == "PAL" else 0.0
    slack_deg = 2 * limits.SWING_TOLERANCE_DEG
    swing_span = max(swing_deg - slack_deg, 0.0), swing_deg + slack_deg
    yield "burst swing from line to line", (swing_span, _STANDARD)
    percent = 100 * expected.colour_share
    gain = percent * limits.LEAST_CHROMA_GAIN, percent * limits.MOST_CHROMA_GAIN
    yield "chroma over luminance", (gain, _PRACTICE)
    most = limits.MOST_PHASE_ERROR_DEG
    yield "colours against burst", ((-most, most), _PRACTICE)


def _name_defects(
    reading: CompositeReading, expected: Expected, figures: dict[str, JudgedFigure]
) -> Iterator[Defect]:
    """Yield the defects that a reading and its judged figures show, by name in ``figures``.

    Those of the record come first, then the system, colour, levels, and single figures. Colour and
    levels of another system are not judged.
    """
    yield from _name_record_defects(reading, expected)
    system_defect = _name_system_defect(reading.detected, expected, figures)
    if system_defect is not None:
        yield system_defect
    # All other limits hold for the expected system alone.
    if system_defect is not None and system_defect.name == _WRONG_SYSTEM:
        return
    if expected.has_colour and expected.nominal.colour != "SECAM":
        yield from _name_colour_defects(reading, expected, figures)
    yield from _name_level_defects(reading, expected, figures)
    yield from _name_defects_of_one_figure(figures)


def _name_record_defects(reading: CompositeReading, expected: Expected) -> Iterator[Defect]:
    """Yield clipping, lines without a picture, and sync that points the wrong way."""
    if reading.clipped is not None:
        yield Defect(
            "clipped by the instrument",
            f"many samples are equal at the {reading.clipped} end of its range",
        )
    if not reading.has_picture and not expected.sync_only:
        yield Defect("only field blanking", "no line of the record carries a picture")
    if reading.is_inverted != expected.sync_up:
        pointing = "up" if reading.is_inverted else "down"
        yield Defect("inverted", f"sync points {pointing}")


def _name_system_defect(
    detected: DetectedSystem, expected: Expected, figures: dict[str, JudgedFigure]
) -> Defect | None:
    """Return the defect of line rate, subcarrier or alternation; None where none is seen.

    A signal of another system is one ``wrong system``.
    """
    nominal = expected.nominal
    rate = figures.get("line frequency")
    wrong_system = Defect(_WRONG_SYSTEM, f"{detected.words} where {expected.system} should be")
    if detected.lines and detected.lines != nominal.lines:
        return wrong_system
    # A rate of neither system comes from a line oscillator that is off.
    if not detected.lines and rate is not None:
        off_hz = abs(rate.corrected.value - nominal.line_hz)
        if off_hz > max(_OFF_LINE_RATE * nominal.line_hz, _SURE * rate.corrected.uncertainty):
            right = print_value(nominal.line_hz, "Hz", _LINE_RATE_DIGITS)
            return Defect("off line rate", f"{rate.name} {rate.words}, should be {right}")
    if not expected.has_colour:
        return None
    is_secam = nominal.colour == "SECAM"
    has_burst = detected.burst is not None and detected.burst.is_seen
    is_other_carrier = abs(detected.carrier_hz - nominal.carrier_hz) > _OTHER_CARRIER_HZ
    if not is_secam and has_burst and is_other_carrier:
        return wrong_system
    if detected.colour == NO_BURST and is_secam:
        return Defect("chroma missing", "no SECAM carrier on the back porch")
    # A missing burst is a defect of colour, not of the system.
    if detected.colour in (UNKNOWN_COLOUR, NO_BURST, nominal.colour):
        return None
    if is_secam or detected.colour == "SECAM":
        return wrong_system
    # PAL whose switch does not alternate looks like NTSC with the subcarrier of PAL.
    swing = figures.get("burst swing from line to line")
    if nominal.colour == "PAL" and swing is not None:
        is_stopped = swing.corrected.value < _SWITCH_STOPPED_DEG
        return Defect("PAL switch stopped" if is_stopped else "wrong burst phase", swing.sentence)
    return wrong_system


def _name_colour_defects(
    reading: CompositeReading, expected: Expected, figures: dict[str, JudgedFigure]
) -> Iterator[Defect]:
    """Yield missing, low and misplaced burst, missing and low chroma, and a turned hue."""
    burst = figures.get("burst amplitude")
    if burst is None:
        if reading.detected.why == SAMPLED_TOO_SLOWLY:
            wanted = print_value(expected.nominal.carrier_hz, "Hz")
            rate = print_value(reading.grid.record.rate_hz, "Hz")
            yield Defect(
                "undersampled",
                f"{rate} of sampling cannot show a subcarrier of {wanted}: colour is not judged",
            )
        return
    yield from _name_burst_defects(burst, expected, figures)
    yield from _name_chroma_defects(expected, figures)
    hue = figures.get("colours against burst")
    if hue is not None and hue.verdict in _OUTSIDE:
        yield Defect("wrong burst phase", hue.sentence)
    # Without alternation the system itself is named.
    swing = figures.get("burst swing from line to line")
    if reading.detected.colour == "PAL" and swing is not None and swing.verdict in _OUTSIDE:
        yield Defect("wrong burst phase", swing.sentence)


def _name_burst_defects(
    burst: JudgedFigure, expected: Expected, figures: dict[str, JudgedFigure]
) -> Iterator[Defect]:
    """Yield a missing burst, else one of wrong size or place."""
    if burst.corrected.value < _MISSING_SHARE * expected.burst_v:
        yield Defect("burst missing", burst.sentence)
        return  # noise in its place has no start and no duration
    if burst.verdict in ("too low", "missing"):
        yield Defect("burst low", burst.sentence)
    elif burst.verdict == "too high":
        yield Defect("burst high", burst.sentence)
    for name in ("burst start after sync", "burst cycles"):
        if name in figures and figures[name].verdict in _OUTSIDE:
            yield Defect("burst misplaced", figures[name].sentence)


def _name_chroma_defects(expected: Expected, figures: dict[str, JudgedFigure]) -> Iterator[Defect]:
    """Yield chroma that is missing, low or high against luminance."""
    chroma = figures.get("chroma over luminance")
    if chroma is None:
        return
    if chroma.corrected.value < 100 * _MISSING_SHARE * expected.colour_share:
        yield Defect("chroma missing", chroma.sentence)
    elif chroma.verdict == "too low":
        yield Defect("chroma low", chroma.sentence)
    elif chroma.verdict == "too high":
        yield Defect("chroma high", chroma.sentence)


def _name_level_defects(
    reading: CompositeReading, expected: Expected, figures: dict[str, JudgedFigure]
) -> Iterator[Defect]:
    """Yield wrong sizes: of all of it, of sync against white, of white against the other bars."""
    sync, bars = figures.get("sync amplitude"), reading.bars
    if sync is None:
        return
    if bars is not None:
        yield from _name_defects_of_bars(reading, expected, figures, sync, bars)
    elif sync.verdict in ("too low", "missing"):
        # A burst that is as small as sync says that all of it is small.
        burst = figures.get("burst amplitude")
        burst_share = burst.corrected.value / expected.burst_v if burst else 1.0
        is_all_small = burst_share < limits.LEAST_SYNC_SHARE
        yield Defect("video low" if is_all_small else "compressed sync", sync.sentence)
    elif sync.verdict == "too high":
        yield Defect("sync high", sync.sentence)


def _name_defects_of_bars(
    reading: CompositeReading,
    expected: Expected,
    figures: dict[str, JudgedFigure],
    sync: JudgedFigure,
    bars: BarReadings,
) -> Iterator[Defect]:
    """Yield wrong sizes where colour bars tell how large sync should be beside them."""
    is_sync_wrong = sync.verdict != "as expected"
    share = sync.corrected.value / (bars.luminance_gain.value * expected.nominal.sync)
    if share < limits.LEAST_SYNC_SHARE and is_sync_wrong:
        yield Defect("compressed sync", f"{sync.sentence}; {share:.0%} of what goes with white")
    elif share > limits.MOST_SYNC_SHARE and is_sync_wrong:
        yield Defect("sync high", sync.sentence)
    elif sync.verdict in (*_OUTSIDE, "missing"):
        white = find_white_v(reading)
        measured = print_value(white.value, "V") if white else ""
        right = print_value(expected.vpp.nominal, "V")
        name = "video high" if sync.verdict == "too high" else "video low"
        yield Defect(name, f"{measured} from sync tip to white, should be {right}")
    if _is_white_short(bars):
        yield Defect("white compressed", figures["white bar"].sentence)
    setup = figures.get("black level over blanking")
    if setup is not None and setup.verdict in _OUTSIDE:
        yield Defect("setup wrong", setup.sentence)


def _is_white_short(bars: BarReadings) -> bool:
    """Return whether the white bar is low against the white that the others give."""
    white = bars.find("white")
    if white is None:
        return False
    expected_v = bars.place_on_line(white.expected_luminance)
    return white.luminance.value < _SHORT_OF_WHITE * expected_v


_NAMES: Final = (
    ("sync width", ("too low", "too high"), "sync width wrong"),
    ("sync rise time", ("too high",), "soft edges"),
    (BANDWIDTH, ("too low", "missing"), "bandwidth low"),
    (ALTERNATION, ("too high",), "ripple from line to line"),
    ("signal to noise", ("too low", "missing"), "noisy"),
    ("line jitter, rms", ("too high",), "line jitter"),
    ("overshoot of sync", ("too high",), "ringing"),
    ("chroma to luminance delay", ("too low", "too high"), "chroma delayed"),
    ("differential gain", ("too low", "too high"), "differential gain"),
    ("differential phase", ("too low", "too high"), "differential phase"),
)


_SECAM_NAMES: Final = (
    (REST, ("too low", "too high"), "rest frequency off"),
    (f" {DEVIATION}", ("too low", "too high"), "deviation wrong"),
    (SIZE, ("too low",), "chroma low"),
    (SIZE, ("too high",), "chroma high"),
)


def _name_defects_of_one_figure(figures: dict[str, JudgedFigure]) -> Iterator[Defect]:
    """Yield the defects that a single figure beyond its limits shows."""
    # Figures of hum and of SECAM have the frequency or the line in their names.
    for name, figure in figures.items():
        if name.startswith(_HUM) and figure.verdict == "too high":
            yield Defect("hum", figure.sentence)
        for name_part, verdicts, defect in _SECAM_NAMES:
            if name_part in name and figure.verdict in verdicts:
                yield Defect(defect, figure.sentence)
    for name, verdicts, defect in _NAMES:
        if name in figures and figures[name].verdict in verdicts:
            yield Defect(defect, figures[name].sentence)
