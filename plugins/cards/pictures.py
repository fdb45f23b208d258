"""The pictures of a pin card, identical on the page and in a file."""

from __future__ import annotations

from ...schema.chips.expectation import Expectation
from ...schema.chips.lookup import has_picture
from ...schema.waveforms.kinds.composite_video import Chrominance, CompositeVideo
from ..drawing.scope_picture import draw_scope
from ..drawing.scope_settings import choose_scope_settings
from ..drawing.scope_trace import compute_trace
from ..drawing.vector_picture import draw_vectors
from .pin_card import PinCard


def draw_scope_picture(card: PinCard, *, standalone: bool = False) -> str | None:
    """Return the oscilloscope's screen in the main condition; None without a signal."""
    shown = card.shown
    if shown is None or shown.settings is None or shown.trace is None:
        return None
    title = f"{card.title}, {shown.condition}"
    return draw_scope(shown.trace, shown.settings, title, standalone=standalone)


def draw_screen_picture(card: PinCard) -> str | None:
    """Return the screen alone, for a page that says the settings; None without a signal."""
    if card.shown is None:
        return None
    title = f"{card.title}, {card.shown.condition}"
    return draw_expected_screen(card.shown.expectation, title) or None


def draw_expected_screen(expectation: Expectation, title: str) -> str:
    """Return the screen alone, with the expected signal; empty without one."""
    settings = choose_scope_settings(expectation)
    if settings is None or not has_picture(expectation):
        return ""
    return draw_scope(compute_trace(expectation, settings), settings, title, bare=True)


def draw_vector_picture(card: PinCard) -> str | None:
    """Return the vectors of the colour bars; None where the signal carries no quadrature chroma."""
    waveform = card.shown.expectation.waveform if card.shown is not None else None
    if not isinstance(waveform, CompositeVideo | Chrominance) or "SECAM" in waveform.system:
        return None
    title = f"{card.title}, vectors of {waveform.bars} colour bars"
    return draw_vectors(waveform.system, waveform.bars.nominal, title)


def draw_instrument_picture(card: PinCard) -> str | None:
    """Return the screen of the chosen instruments; None where none may be connected."""
    seen = card.through
    if seen is None or seen.settings is None or seen.trace is None:
        return None
    chosen = seen.instruments
    title = f"{card.title} through {chosen.probe.name} and {chosen.scope.name}"
    return draw_scope(seen.trace, seen.settings, title)
