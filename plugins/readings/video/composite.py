"""All figures of a composite video record, from the samples alone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from ....schema.systems import SCANNING, VIDEO_LEVELS
from .averages import Mean, read_flat_part
from .bars import GREY, BarReading, BarReadings, measure_bars
from .burst import Burst
from .burst_extent import measure_extent
from .chroma_timing import measure_delay, measure_differential
from .decoding.response import BANDWIDTH, CANNOT_TELL, find_bandwidth, measure_multiburst
from .decoding.secam_colour import measure_secam
from .disturbances import (
    measure_alternation,
    measure_hum,
    measure_jitter,
    measure_line_rate,
    measure_noise,
    measure_wander,
)
from .figure import Figure, Record
from .instrument_marks import LEVELS_NOISY, find_clipped
from .levels import measure_levels, measure_overshoot
from .line_grid import LineGrid, is_only_blank, lay_grid, leave_out_blanking
from .sync_pulses import find_sync
from .system import OUT_OF_STEP, DetectedSystem, detect_system, find_subcarrier_hz

_FEWEST_LINES_FOR_COLOUR: Final = 3  # of a picture; else those of the field blanking help
_TIP_S: Final = (0.7e-6, 3.9e-6)  # of sync, after 0H
_BARS_FIT: Final = 0.12  # of white, by which a bar's luminance may differ from its place
_LEAST_BAR_GAIN: Final = 0.02  # below this there is no picture


@dataclass(frozen=True, eq=False)
class CompositeReading:
    """The figures of a composite video record and the places they were measured at."""

    grid: LineGrid
    """The lines that were measured."""
    detected: DetectedSystem
    figures: dict[str, Figure]
    bars: BarReadings | None
    """None where the picture is not colour bars, or not in the record."""
    clipped: str | None
    """The end of the instrument's range at which the record was cut off."""
    has_picture: bool
    """Whether a line of the record carries a picture."""
    notes: tuple[str, ...] = ()

    @property
    def is_inverted(self) -> bool:
        """Whether sync points up in the record."""
        return self.grid.sync.sign < 0


def measure_composite(
    record: Record,
    system: str,
    percent: float | None = None,
    line: int | None = None,
    in_field: int | None = None,
    *,
    is_multiburst: bool = False,
) -> CompositeReading:
    """Return the figures of a record that should hold a system's composite video.

    ``percent`` names the colour bars that are expected, None another picture. With ``line``, only
    that line of each frame is measured, counted from the start of ``in_field``, 1 or 2;
    ``is_multiburst`` says that packets of sines are expected. Raises NoSync and NoSuchLine.
    """
    sync = find_sync(record)
    all_lines = lay_grid(record, sync)
    grid = leave_out_blanking(all_lines) if line is None else all_lines.choose(line, in_field)
    expected_hz = float(SCANNING[system].subcarrier_hz[0])
    # Lines of the field blanking carry a burst as well: they help where a picture has few lines.
    has_enough_lines = line is not None or len(grid) >= _FEWEST_LINES_FOR_COLOUR
    detected = detect_system(grid if has_enough_lines else all_lines, expected_hz)
    # The residuals of the burst show the noise without the rounding of a level.
    if detected.burst is not None and detected.burst.is_seen:
        record = replace(record, noise_v=detected.burst.fit.noise_v)
        grid, all_lines = replace(grid, record=record), replace(all_lines, record=record)
    has_picture = not is_only_blank(grid) or line is not None
    bars = _find_bars(grid, system, percent, detected) if has_picture else None
    figures = {figure.name: figure for figure in measure_levels(grid)}
    response = _list_response(grid, system, figures, is_multiburst)
    figures |= {figure.name: figure for figure in response}
    figures |= list_burst_figures(grid if has_enough_lines else all_lines, detected)
    figures |= list_bar_figures(bars)
    if detected.colour == "SECAM" and system.startswith("SECAM"):
        shown_percent = percent if bars is not None else None
        secam_figures = measure_secam(grid, system, shown_percent)
        figures |= {figure.name: figure for figure in secam_figures}
    if bars is not None and percent is not None:
        figures |= _list_timing(grid, system, percent, bars, _choose_burst(detected))
    figures |= _list_disturbances(record, grid, system, figures, bars)
    noise = figures.get("noise")
    return CompositeReading(
        grid=grid,
        detected=detected,
        figures=figures,
        bars=bars,
        clipped=find_clipped(record, noise.value if noise else 0.0, LEVELS_NOISY),
        has_picture=has_picture,
        notes=_list_notes(grid, figures),
    )


def _list_response(
    grid: LineGrid, system: str, figures: dict[str, Figure], is_multiburst: bool
) -> list[Figure]:
    """Return the response of the path, from a multiburst or else from the rise of sync."""
    if is_multiburst:
        return list(measure_multiburst(grid, system))
    bandwidth = find_bandwidth(figures.get("sync rise time"), system)
    return [bandwidth] if bandwidth is not None else []


def _find_bars(
    grid: LineGrid, system: str, percent: float | None, detected: DetectedSystem
) -> BarReadings | None:
    """Return the readings of the colour bars that are expected; None where there are none."""
    if percent is None:
        return None
    carrier_hz = detected.carrier_hz or float(SCANNING[system].subcarrier_hz[0])
    bars = measure_bars(grid, system, percent, carrier_hz, _choose_reference(detected, system))
    return bars if bars is not None and _are_bars(bars) else None


def _choose_burst(detected: DetectedSystem) -> Burst | None:
    """Return the burst if it is seen and in step with its subcarrier."""
    burst = detected.burst
    if burst is None or not burst.is_seen or detected.why == OUT_OF_STEP:
        return None
    return burst


def _choose_reference(detected: DetectedSystem, system: str) -> Burst | None:
    """Return the burst that phases are counted from; None where it cannot be one."""
    burst = _choose_burst(detected)
    # One line of PAL does not show which sign V has.
    if burst is not None and burst.swing_deg is None and not system.startswith("NTSC"):
        return None
    return burst


def _are_bars(bars: BarReadings) -> bool:
    """Return whether the luminance falls from bar to bar as it should, or there is none at all."""
    return bars.luminance_gain.value > _LEAST_BAR_GAIN and bars.worst_misfit < _BARS_FIT


def list_burst_figures(grid: LineGrid, detected: DetectedSystem) -> dict[str, Figure]:
    """Return amplitude, cycles, start, swing and frequency of the burst, by their names."""
    burst = detected.burst
    if burst is None:
        return {}
    size = burst.amplitude
    _, rounding_v = burst.fit.find_rounding_v(grid, burst.carrier_hz)
    error_vpp = 2 * math.hypot(size.uncertainty, rounding_v)
    figures = [Figure("burst amplitude", 2 * size.value, "Vpp", error_vpp)]
    extent = measure_extent(grid, burst) if burst.is_seen else None
    if extent is not None:
        cycles = extent.lasts_s.value * burst.carrier_hz
        error = extent.lasts_s.uncertainty * burst.carrier_hz
        figures.append(Figure("burst cycles", cycles, "cycles", error))
        start = extent.start_s
        figures.append(Figure("burst start after sync", start.value, "s", start.uncertainty))
    # Lines that jitter turn the burst: neither swing nor frequency is the signal's own.
    if burst.is_seen and detected.why != OUT_OF_STEP:
        swing, carrier = burst.swing_deg, find_subcarrier_hz(detected, grid)
        if swing is not None:
            name = "burst swing from line to line"
            figures.append(Figure(name, swing.value, "°", swing.uncertainty))
        if carrier is not None:
            carrier_hz, error_hz = carrier
            figures.append(Figure("subcarrier", carrier_hz, "Hz", error_hz))
    return {figure.name: figure for figure in figures}


def list_bar_figures(bars: BarReadings | None) -> dict[str, Figure]:
    """Return luminance, chroma and phase of the bars, and the figures they give together."""
    if bars is None:
        return {}
    figures = list[Figure]()
    for bar_name, name in (("white", "white bar"), ("black", "black level over blanking")):
        bar = bars.find(bar_name)
        if bar is not None:
            figures.append(Figure(name, bar.luminance.value, "V", bar.luminance.uncertainty))
    luminance, chroma = bars.luminance_gain, bars.chroma_gain
    if math.isfinite(chroma.uncertainty) and luminance.value > 0:
        ratio = chroma.value / luminance.value
        error = math.hypot(chroma.uncertainty, ratio * luminance.uncertainty) / luminance.value
        figures.append(Figure("chroma over luminance", 100 * ratio, "%", 100 * error))
        turned = bars.phase_error_deg()
        if turned is not None:
            figures.append(Figure("colours against burst", turned.value, "°", turned.uncertainty))
    for bar in bars.bars:
        figures += _list_figures_of_bar(bar, bars)
    return {figure.name: figure for figure in figures}


def _list_figures_of_bar(bar: BarReading, bars: BarReadings) -> Iterator[Figure]:
    """Yield luminance, chroma and phase of one bar, as far as it has them."""
    luminance, amplitude, phase = bar.luminance, bar.amplitude, bar.phase_deg
    # White and black have figures of their own names.
    if bar.name not in ("white", "black"):
        yield Figure(f"{bar.name} luminance", luminance.value, "V", luminance.uncertainty)
    if abs(bar.expected_chroma) <= GREY or not math.isfinite(amplitude.uncertainty):
        return
    yield Figure(f"{bar.name} chroma", 2 * amplitude.value, "Vpp", 2 * amplitude.uncertainty)
    if phase is not None:
        error_deg = bars.find_phase_error_deg(bar)
        yield Figure(f"{bar.name} phase", phase.value, "°", error_deg)


def _list_timing(
    grid: LineGrid, system: str, percent: float, bars: BarReadings, burst: Burst | None
) -> dict[str, Figure]:
    """Return differential gain and phase, and the delay of chroma behind luminance."""
    found = measure_differential(bars)
    if burst is not None:
        delay = measure_delay(grid, system, percent, burst, bars.noise_v)
        found += [delay] if delay is not None else []
    return {figure.name: figure for figure in found}


def _list_disturbances(
    record: Record,
    grid: LineGrid,
    system: str,
    figures: dict[str, Figure],
    bars: BarReadings | None,
) -> dict[str, Figure]:
    """Return line rate, noise, jitter, hum, ripple and overshoot, by their names."""
    tip = read_flat_part(grid, *_TIP_S)
    sync = figures.get("sync amplitude")
    levels = VIDEO_LEVELS[system]
    disturbances: list[Figure | None] = [measure_line_rate(grid.sync)]
    if sync is not None:
        # White is not in every picture, sync is; it may be compressed.
        white_v = sync.value * float(levels.white / -levels.sync)
        if bars is not None:
            white_v = max(white_v, bars.luminance_gain.value * float(levels.white))
        # The back porch of SECAM carries colour.
        disturbances += measure_noise(grid, white_v, tips_only=system.startswith("SECAM"))
    if tip is not None:
        disturbances += measure_jitter(grid.sync, tip.noise_v, record.interval_s)
    disturbances += [_measure_ripple(grid), measure_alternation(grid), measure_overshoot(grid)]
    return {figure.name: figure for figure in disturbances if figure is not None}


def _measure_ripple(grid: LineGrid) -> Figure | None:
    """Return the hum; of a record too short for it, how far blanking wanders; else None."""
    hum = measure_hum(grid)
    if hum is not None:
        return Figure(f"hum at {hum.hz:g} Hz", hum.vpp.value, "Vpp", hum.vpp.uncertainty)
    wander = measure_wander(grid)
    if wander is None:
        return None
    return Figure("wander of blanking", wander.value, "Vpp", wander.uncertainty)


def _list_notes(grid: LineGrid, figures: dict[str, Figure]) -> tuple[str, ...]:
    notes = () if BANDWIDTH in figures else (CANNOT_TELL,)
    if not grid.left_out:
        return notes
    lines = "line" if grid.left_out == 1 else "lines"
    return (f"{grid.left_out} {lines} of field blanking left out", *notes)


def find_white_v(reading: CompositeReading) -> Mean | None:
    """Return the height from sync tip to reference white, from bars and sync; None without bars."""
    sync = reading.figures.get("sync amplitude")
    if reading.bars is None or sync is None:
        return None
    gain = reading.bars.luminance_gain
    white = reading.bars.white
    value = sync.value + gain.value * white
    return Mean(value, math.hypot(sync.uncertainty, gain.uncertainty * white))
