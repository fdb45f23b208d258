"""All pictures of a judged capture: the same in a page, a file and a note."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ....schema.waveforms import Samples
from ...drawing.comparison_picture import draw_comparison
from ...drawing.difference_picture import describe_difference, draw_difference
from ...drawing.scope_picture import draw_scope
from ...drawing.scope_settings import ScopeSettings, choose_scope_settings
from ...drawing.scope_trace import Trace, compute_trace
from ...drawing.spectrum_picture import draw_spectrum
from ...drawing.vector_display import draw_vector_display
from ..capture_check import CaptureCheck
from .colour_vectors import ColourVectors, compare_vectors
from .difference import Difference, compare_edges, match_v
from .overlay import Edges, align_times_s, count_columns_beside, lay_over
from .spectrum_columns import SpectrumView, compute_spectrum


@dataclass(frozen=True, eq=False)
class CapturePictures:
    """The pictures of a capture, each computed when it is asked for.

    A picture that the capture cannot give is None. ``title`` says whose capture it is.
    """

    check: CaptureCheck
    title: str

    @cached_property
    def settings(self) -> ScopeSettings | None:
        """Settings of the oscilloscope that show the expected trace."""
        return choose_scope_settings(self.check.expectation)

    @cached_property
    def vectors(self) -> ColourVectors | None:
        """The colours against the places of the standard."""
        return compare_vectors(self.check.expectation, self.check.video)

    @cached_property
    def spectrum(self) -> SpectrumView | None:
        """The spectrum of the record."""
        check, video = self.check, self.check.video
        line_hz = video.line_hz if video is not None else None
        return compute_spectrum(self._volts, check.capture.interval_s, self._system, line_hz)

    @cached_property
    def difference(self) -> Difference | None:
        """Captured less expected; None where the two cannot be laid over one another."""
        laid = self._laid
        if laid is None or self.check.likeness is None:
            return None
        trace, edges = laid
        interval_s = self.check.capture.interval_s
        blurred = count_columns_beside(interval_s, trace) if self._has_carrier else 0
        return compare_edges(edges, trace, self.check.expectation, blurred)

    def document(self) -> dict[str, Any]:
        """Return the verdict on the capture as plain data, with the figures that pictures show."""
        difference, vectors, spectrum = self.difference, self.vectors, self.spectrum
        judged = self.check.document()
        judged["capture"] |= {
            "difference": difference.document() if difference is not None else None,
            "vectors": vectors.document() if vectors is not None else [],
            "spectrum": spectrum.document() if spectrum is not None else [],
        }
        return judged

    def draw_overlay(self) -> str | None:
        """Return the bare screen: the capture over the expected trace."""
        if self._laid is None or self.settings is None:
            return None
        trace, edges = self._laid
        return draw_scope(trace, self.settings, self.title, over=edges, bare=True)

    def draw_difference(self) -> str | None:
        """Return the bare difference below the screen, on the same time axis."""
        if self.difference is None:
            return None
        words = f"{describe_difference(self.difference.trace)} {self.difference.words}"
        return draw_difference(self.difference.trace, f"Difference: {self.title}", words)

    def draw_comparison(self, *, standalone: bool = True) -> str | None:
        """Return capture, expected trace and difference as one drawing."""
        if self._laid is None or self.settings is None:
            return None
        trace, edges = self._laid
        difference = self.difference.trace if self.difference is not None else None
        return draw_comparison(
            trace, self.settings, edges, difference, self.title, standalone=standalone
        )

    def draw_vectors(self, *, standalone: bool = False) -> str | None:
        """Return the colour vectors over their target boxes."""
        if self.vectors is None:
            return None
        return draw_vector_display(
            self.vectors.display,
            f"Colour vectors: {self.title}",
            self.vectors.words,
            standalone=standalone,
        )

    def draw_spectrum(self, *, standalone: bool = False) -> str | None:
        """Return the spectrum with mains and line harmonics marked."""
        if self.spectrum is None:
            return None
        return draw_spectrum(
            self.spectrum.trace,
            f"Spectrum: {self.title}",
            self.spectrum.note,
            standalone=standalone,
        )

    @property
    def _volts(self) -> Samples:
        return self.check.capture.channels[self.check.channel]

    @property
    def _has_carrier(self) -> bool:
        """Whether the expected signal is a carrier, whose envelope is drawn."""
        waveform = self.check.expectation.waveform
        return waveform is not None and waveform.carrier_hz > waveform.frequency_hz

    @property
    def _system(self) -> str | None:
        """The television system of the pin's signal, else the first one of the chip."""
        own = getattr(self.check.expectation.waveform, "system", None)
        return own or next(iter(self.check.systems), None)

    @cached_property
    def _laid(self) -> tuple[Trace, Edges] | None:
        """The expected trace, and the edges of the capture over it."""
        check, settings = self.check, self.settings
        if settings is None:
            return None
        expectation = check.expectation
        trace = compute_trace(expectation, settings)
        shift_s = check.likeness.shift_s if check.likeness is not None else None
        start_s, frequency_hz = float(trace.t_s[0]), check.measured.frequency_hz
        t_s = align_times_s(check.capture.t_s, expectation, start_s, shift_s, frequency_hz)
        edges = lay_over(t_s, self._volts, trace, has_carrier=self._has_carrier)
        if settings.coupling == "AC" and np.isfinite(edges[0]).any():
            # The coupling takes the DC voltage off whatever it is; a meter says it.
            off_v = match_v(edges, trace)
            edges = edges[0] - off_v, edges[1] - off_v
        return trace, edges
