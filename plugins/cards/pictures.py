"""The pictures of a card, the same on the page and in a file."""

from __future__ import annotations

from ...schema.waveforms.kinds.composite_video import Chrominance, CompositeVideo
from ..drawing.scope_picture import scope_svg
from ..drawing.vector_picture import vector_svg
from .pin_card import PinCard


def scope_picture(card: PinCard, *, standalone: bool = False) -> str | None:
    """The oscilloscope's screen in the shown condition; None where nothing is known to show."""
    shown = card.shown
    if shown is None or shown.settings is None or shown.trace is None:
        return None
    title = f"{card.title}, {shown.condition}"
    return scope_svg(shown.trace, shown.settings, title, standalone=standalone)


def vector_picture(card: PinCard) -> str | None:
    """The vectors of colour bars, where the shown signal carries them as quadrature chroma."""
    waveform = card.shown.expectation.waveform if card.shown is not None else None
    if not isinstance(waveform, CompositeVideo | Chrominance) or "SECAM" in waveform.system:
        return None
    title = f"{card.title}, vectors of {waveform.bars} colour bars"
    return vector_svg(waveform.system, waveform.bars.nominal, title)


def picture_through(card: PinCard) -> str | None:
    """The screen of the instruments in hand; None where none were chosen or may be connected."""
    seen = card.through
    if seen is None or seen.settings is None or seen.trace is None:
        return None
    chosen = seen.instruments
    title = f"{card.title} through {chosen.probe.name} and {chosen.scope.name}"
    return scope_svg(seen.trace, seen.settings, title)
