"""The fit of a drawn figure, as lines of a chip file and as plain data."""

from __future__ import annotations

from typing import Any

import yaml

from ...schema.figures import FigureFit
from ...schema.quantities import print_value

_LEAST_PERCENT = 0.1  # a drawing is not more exact


def write_figure_lines(fit: FigureFit) -> tuple[str, ...]:
    """Return the quality of the fit as comments, then the keys to paste under an expectation."""
    return (*(f"# {sentence}" for sentence in _describe_fit(fit)), *_format_keys(fit))


def make_figure_document(fit: FigureFit) -> dict[str, Any]:
    """Return the figure as plain data; voltages in volts, errors in percent of peak to peak."""
    return {
        "kind": fit.waveform.kind,
        "fits": fit.is_known,
        "error_percent": round(100 * fit.error, 3),
        "within_percent": round(100 * fit.within, 3),
        "periods": round(fit.periods, 3),
        "mean_v": round(fit.mean_v, 6),
        "waveform": _list_waveform_keys(fit),
        "tried": [
            {"kind": one.kind, "error_percent": round(100 * one.error, 3)} for one in fit.tried
        ],
    }


def _describe_fit(fit: FigureFit) -> tuple[str, ...]:
    error, within = _format_percent(fit.error), _format_percent(fit.within)
    tried = ", ".join(f"{one.kind} {_format_percent(one.error)}" for one in fit.tried)
    if not fit.is_known:
        points = "no known kind has its peaks" if not fit.tried else f"tried {tried}"
        return (f"No known kind fits within {within} rms of the peak to peak: {points}.",)
    if not fit.waveform.period_s:
        return (f"Fits {fit.waveform.kind}: drawn within {error} of its level.",)
    period = print_value(fit.waveform.period_s, "s", 4)
    return (
        f"Fits {fit.waveform.kind}: rms error {error} of the peak to peak, {within} allowed.",
        f"The figure shows {fit.periods:.3g} x {period}. Tried: {tried}.",
    )


def _format_percent(share: float) -> str:
    """Return a share as a percentage with two figures, at least a tenth of a percent."""
    percent = 100 * share
    return f"{percent:.2g} %" if percent >= _LEAST_PERCENT else f"below {_LEAST_PERCENT} %"


def _format_keys(fit: FigureFit) -> tuple[str, ...]:
    """Return the lines for the DC that a meter reads and for the waveform."""
    shape = yaml.safe_dump(
        _list_waveform_keys(fit),
        default_flow_style=True,
        allow_unicode=True,
        sort_keys=False,
        width=10**6,
    )
    return (f"dc: {print_value(fit.mean_v, 'V')}", f"waveform: {shape.strip()}")


def _list_waveform_keys(fit: FigureFit) -> dict[str, Any]:
    """Return the waveform as a chip file has it: no defaults, quantities as text."""
    return fit.waveform.model_dump(mode="json", exclude_defaults=True)
