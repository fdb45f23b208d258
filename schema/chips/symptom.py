"""Symptoms of the set when something around this chip is wrong, in the trade's words."""

from typing import Annotated, Literal

from pydantic import Field

from ..model import Endpoint, Listed, Model, Text, Word


class Sign(Model):
    """The outcome that a symptom implies at one point."""

    at: Endpoint
    """The pin (``pin 9``) or node."""
    quantity: Literal["dc", "vpp", "frequency"]
    """Quantity: the DC voltage, the signal peak to peak, its frequency."""
    outcome: Literal[
        "as expected", "too low", "too high", "missing", "off frequency", "unstable", "distorted"
    ]
    """How that is."""


class Symptom(Model):
    """Something the set does that says how points of this chip read."""

    name: Word
    """As a customer or a technician would say it: vertical lines bend at the top."""
    means: Text | None = None
    """Description of the picture and sound."""
    observed: Annotated[tuple[Sign, ...], Listed] = Field(min_length=1)
    """Outcomes that it implies at pins and nodes."""
