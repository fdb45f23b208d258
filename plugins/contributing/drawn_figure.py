"""What a drawn figure turned out to be, as lines of a chip file and as plain data."""

from __future__ import annotations

from typing import Any

import yaml

from ...schema.figures import FigureFit
from ...schema.quantities import print_value


def figure_lines(fit: FigureFit) -> tuple[str, ...]:
    """What fits and how well as comments, then the keys to paste under an expectation."""
    return (*(f"# {sentence}" for sentence in _told(fit)), *_keys(fit))


def figure_document(fit: FigureFit) -> dict[str, Any]:
    """The figure as plain data."""
    return {
        "kind": fit.waveform.kind,
        "fits": fit.is_known,
        "error_percent": round(100 * fit.error, 3),
        "within_percent": round(100 * fit.within, 3),
        "periods": round(fit.periods, 3),
        "mean_v": round(fit.mean_v, 6),
        "waveform": _written(fit),
        "tried": [
            {"kind": one.kind, "error_percent": round(100 * one.error, 3)} for one in fit.tried
        ],
    }


def _told(fit: FigureFit) -> tuple[str, ...]:
    error, within = _percent(fit.error), _percent(fit.within)
    tried = ", ".join(f"{one.kind} {_percent(one.error)}" for one in fit.tried)
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


def _percent(share: float) -> str:
    """Two figures, and nothing below a tenth of a percent."""
    percent = 100 * share
    return f"{percent:.2g} %" if percent >= 0.1 else "below 0.1 %"


def _keys(fit: FigureFit) -> tuple[str, ...]:
    """The DC where the meter's reading belongs with the shape, and the waveform."""
    shape = yaml.safe_dump(
        _written(fit), default_flow_style=True, allow_unicode=True, sort_keys=False, width=10**6
    )
    return (f"dc: {print_value(fit.mean_v, 'V')}", f"waveform: {shape.strip()}")


def _written(fit: FigureFit) -> dict[str, Any]:
    """The waveform as a chip file has it: what it needs, quantities as text."""
    return fit.waveform.model_dump(mode="json", exclude_defaults=True)
