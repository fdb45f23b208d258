"""The pictures of a card, the same on the page and in a file."""

from __future__ import annotations

from .pin_card import PinCard
from .scope_picture import scope_svg


def scope_picture(card: PinCard, *, standalone: bool = False) -> str | None:
    """The oscilloscope's screen in the shown condition; None where nothing is known to show."""
    shown = card.shown
    if shown is None or shown.settings is None or shown.trace is None:
        return None
    title = f"{card.title}, {shown.condition}"
    return scope_svg(shown.trace, shown.settings, title, standalone=standalone)
