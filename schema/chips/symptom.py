"""What the set does when something around this chip is wrong, in the trade's words."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from ..model import Endpoint, Listed, Model, Text, Word


class Sign(Model):
    """What one point then shows."""

    at: Endpoint
    """The pin (``pin 9``) or node."""
    quantity: Literal["dc", "vpp", "frequency"]
    """What of it: the DC voltage, the signal peak to peak, its frequency."""
    outcome: Literal[
        "as expected", "too low", "too high", "missing", "off frequency", "unstable", "distorted"
    ]
    """How that is."""


class Symptom(Model):
    """Something the set does that says how points of this chip read."""

    name: Word
    """As a customer or a technician would say it: vertical lines bend at the top."""
    means: Text | None = None
    """What is seen or heard, and what not."""
    observed: Annotated[tuple[Sign, ...], Listed] = Field(min_length=1)
    """What that says of pins and nodes."""
