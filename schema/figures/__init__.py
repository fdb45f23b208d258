"""Waveforms drawn in a data sheet, fitted by the kinds of waveform that a chip file knows."""

from __future__ import annotations

from .fit import WITHIN, FigureFit, KindFit, fit_figure

__all__ = ["WITHIN", "FigureFit", "KindFit", "fit_figure"]
