"""Signals other than composite video, measured and judged by the kind that a pin should show."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from ....schema.chips.expectation import ASSUMED_WAVEFORM_PERCENT
from ....schema.quantities import Quantity
from ....schema.waveforms import Samples
from ....schema.waveforms.kinds.basic_shapes import Sawtooth, Sine
from ....schema.waveforms.kinds.deflection import FlybackPulse, VerticalDrive
from ....schema.waveforms.kinds.sandcastle import Sandcastle
from .broadcast_limits import MOST_NOISE
from .defects import Defect
from .figure import Figure, Record
from .judged_figure import Correct, JudgedFigure, Span, hold
from .periodic_shapes import measure_flyback, measure_hum_beside, measure_sawtooth, measure_sine
from .sandcastle_levels import KEY_BEYOND, measure_sandcastle

_PIN: Final = "the pin's expectation"
_PRACTICE: Final = "common practice"
_KEY_S: Final = (3e-6, 5e-6)  # common practice: it holds the burst and ends before the picture
_KEY_SLACK_S: Final = 1e-6
_KEY_LEADS_S: Final = 0.4e-6
_LINES_FOR_KEY: Final = 2.2  # in a record, which then holds a key wherever it begins
_SLOWEST_FOR_KEY_S: Final = 1e-6
_RETRACE_SLACK: Final = 4.0  # percent of the period
_S_SLACK: Final = 8.0  # percent
_MOST_NON_LINEAR: Final = 5.0
_MOST_RINGING: Final = 15.0
_MOST_HARMONICS: Final = 20.0
_MOST_UNSTEADY: Final = 5.0
_MOST_HUM: Final = 0.05  # of the height
_FASTEST_FIELD_HZ: Final = 130.0
_NEAR: Final = 0.005  # how far off its rate a signal is folded at the rate measured
_FAR: Final = 0.5  # how far off its frequency a sine may be
_LEAST_SINE: Final = 0.2  # of the peak to peak: less is another signal
_LEVEL_SHARE: Final = 0.05  # of the height: least tolerance of a level
BELOW: Final = ("too low", "missing")
ABOVE: Final = ("too high",)
OUTSIDE: Final = (*BELOW, *ABOVE)
Names = tuple[tuple[str, tuple[str, ...], str], ...]
"""Figure, verdicts on it, and the defect that these show."""


@dataclass(frozen=True, eq=False)
class KindCheck:
    """The judged figures of a signal and the defects they show."""

    figures: tuple[JudgedFigure, ...] = ()
    defects: tuple[Defect, ...] = ()
    system: str = ""
    picture: tuple[float, Samples] | None = None
    """Start in seconds, and samples, of lines whose shape is compared; None for all the record."""


def check_sandcastle(record: Record, waveform: Sandcastle, correct: Correct) -> KindCheck:
    """Return the levels of a sandcastle pulse, and the width and the place of its burst key."""
    levels = {
        name.replace("_", " "): level
        for name in ("base", "field_blanking", "line_blanking", "burst_key")
        if isinstance(level := getattr(waveform, name), Quantity)
    }
    levels_v = {name: level.nominal for name, level in levels.items()}
    figures = list(measure_sandcastle(record, levels_v))
    height_v = max(levels_v.values()) - min(levels_v.values())
    spans: dict[str, Span] = {}
    for name, level in levels.items():
        low_v, high_v = level.limits(ASSUMED_WAVEFORM_PERCENT)
        # A percentage of a base near ground would leave no room at all.
        slack_v = 0.0 if level.tolerance_stated else _LEVEL_SHARE * height_v
        low_v, high_v = min(low_v, level.nominal - slack_v), max(high_v, level.nominal + slack_v)
        spans[f"{name} level"] = ((low_v, high_v), _PIN)
    # The key opens a little before the burst, counted from where line blanking begins.
    timing = waveform.timing
    delay_s = timing.front_porch_s + timing.burst_start_s - _KEY_LEADS_S
    delay_span_s = delay_s - _KEY_SLACK_S, delay_s + _KEY_SLACK_S
    spans["burst key width"] = (_KEY_S, _PRACTICE)
    spans["burst key after blanking"] = (delay_span_s, _PRACTICE)
    spans[KEY_BEYOND] = ((-math.inf, _KEY_SLACK_S), _PRACTICE)
    if any(figure.name == KEY_BEYOND for figure in figures):
        # The samples nearest to the level of field blanking are then those of the key alone.
        del spans["field blanking level"]
    judged = hold_all(figures, spans, correct)
    by_name = {figure.name: figure for figure in judged}
    names: Names = (
        *((f"{name} level", OUTSIDE, "sandcastle level wrong") for name in levels),
        ("burst key width", OUTSIDE, "burst key misplaced"),
        ("burst key after blanking", OUTSIDE, "burst key misplaced"),
        (KEY_BEYOND, ABOVE, "burst key misplaced"),
    )
    defects = name_defects(names, by_name)
    # A short or coarse record may have missed the key.
    is_long_enough = record.span_s > _LINES_FOR_KEY * waveform.line_s
    shows_key = is_long_enough and record.interval_s < _SLOWEST_FOR_KEY_S
    if "burst key level" not in by_name and shows_key:
        why = f"nothing reaches {levels_v['burst key']:.3g} V"
        defects = (Defect("burst key missing", why), *defects)
    return KindCheck(judged, defects)


def check_sawtooth(
    record: Record, waveform: VerticalDrive | Sawtooth, hz: float, correct: Correct
) -> KindCheck:
    """Return retrace, S-correction and linearity of a sawtooth."""
    figures = list(measure_sawtooth(record, hz, waveform.direction == "rising"))
    retrace = waveform.retrace.nominal if waveform.retrace is not None else 0.0
    stated = waveform.s_correction if isinstance(waveform, VerticalDrive) else None
    s_correction = stated.nominal if stated is not None else 0.0
    spans: dict[str, Span] = {
        "retrace": ((-math.inf, retrace + _RETRACE_SLACK), _PRACTICE),
        "S-correction": ((s_correction - _S_SLACK, s_correction + _S_SLACK), _PIN),
        "non-linearity": ((-math.inf, _MOST_NON_LINEAR), _PRACTICE),
    }
    nominal_hz = waveform.frequency_hz
    hum = measure_hum_beside(record, hz if abs(hz / nominal_hz - 1) < _NEAR else nominal_hz)
    if hum is not None:
        figures.append(hum)
        spans["hum"] = ((-math.inf, _MOST_HUM * waveform.vpp_v), _PRACTICE)
    judged = hold_all(figures, spans, correct)
    by_name = {figure.name: figure for figure in judged}
    # Hum bends the scan and moves its ends, so that the others say nothing beside it.
    if humming := name_defects((("hum", ABOVE, "hum"),), by_name):
        return KindCheck(judged, humming)
    names: Names = (
        ("retrace", ABOVE, "slow retrace"),
        ("S-correction", OUTSIDE, "not linear"),
        ("non-linearity", ABOVE, "not linear"),
    )
    defects = name_defects(names, by_name)
    if hz < _FASTEST_FIELD_HZ:
        defects = tuple(_doubt_linearity(defect) for defect in defects)
    return KindCheck(judged, defects)


def _doubt_linearity(defect: Defect) -> Defect:
    """Return the defect with the other cause that no record excludes."""
    if defect.name != "not linear":
        return defect
    return replace(defect, why=f"{defect.why}; hum locked to the field bends the scan as well")


def check_flyback(record: Record, waveform: FlybackPulse, hz: float, correct: Correct) -> KindCheck:
    """Return peak, width and ringing of flyback pulses."""
    figures = list(measure_flyback(record, hz))
    # The limits of a negative peak come with the larger size first.
    low_v, high_v = sorted(waveform.peak.limits(ASSUMED_WAVEFORM_PERCENT))
    width_span_s = waveform.width.limits(ASSUMED_WAVEFORM_PERCENT)
    spans: dict[str, Span] = {
        "flyback peak": ((low_v, high_v), _PIN),
        "flyback width": (width_span_s, _PIN),
        "ringing between pulses": ((-math.inf, _MOST_RINGING), _PRACTICE),
    }
    judged = hold_all(figures, spans, correct)
    names: Names = (
        ("flyback width", BELOW, "flyback narrow"),
        ("flyback width", ABOVE, "flyback wide"),
        ("ringing between pulses", ABOVE, "flyback rings"),
    )
    return KindCheck(judged, name_defects(names, {one.name: one for one in judged}))


def check_sine(record: Record, waveform: Sine, hz: float, correct: Correct) -> KindCheck:
    """Return the harmonics of a sine and how steady it is."""
    # At another frequency altogether it is another signal, as it is far below its size.
    if abs(hz / waveform.frequency.nominal - 1) > _FAR:
        return KindCheck()
    figures = list(measure_sine(record, hz))
    size_vpp = next((figure.value for figure in figures if figure.name == "sine amplitude"), 0.0)
    if size_vpp < _LEAST_SINE * waveform.vpp_v:
        return KindCheck(hold_all(figures, {}, correct))
    spans: dict[str, Span] = {
        "harmonics": ((-math.inf, _MOST_HARMONICS), _PRACTICE),
        "change of amplitude": ((-math.inf, _MOST_UNSTEADY), _PRACTICE),
        "noise": ((-math.inf, MOST_NOISE * waveform.vpp_v), _PRACTICE),
    }
    judged = hold_all(figures, spans, correct)
    names: Names = (
        ("harmonics", ABOVE, "distorted sine"),
        ("change of amplitude", ABOVE, "jumping"),
        ("noise", ABOVE, "noisy"),
    )
    return KindCheck(judged, name_defects(names, {one.name: one for one in judged}))


def hold_all(
    figures: Iterable[Figure], spans: Mapping[str, Span], correct: Correct
) -> tuple[JudgedFigure, ...]:
    """Return figures, each judged where it has limits."""
    return tuple(hold(one, correct, *spans.get(one.name, (None, ""))) for one in figures)


def name_defects(names: Names, judged: Mapping[str, JudgedFigure]) -> tuple[Defect, ...]:
    """Return the defects that verdicts show, each once."""
    defects: dict[str, Defect] = {}
    for figure_name, verdicts, name in names:
        figure = judged.get(figure_name)
        if figure is not None and figure.verdict in verdicts:
            defects.setdefault(name, Defect(name, figure.sentence))
    return tuple(defects.values())
