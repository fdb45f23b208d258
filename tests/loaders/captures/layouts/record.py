"""The record that every layout writes down, and the two lists that layouts register in.

The instruments are invented. Each layout was written from a general description of how
oscilloscopes, loggers and programs lay out text, without sight of the reader it judges.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

SAMPLES = 400
INTERVAL_S = 40e-9
START_S = -2e-6
INDEX = np.arange(SAMPLES)
TIME_S = START_S + INDEX * INTERVAL_S
# A bar of video, and a slower ramp: four decimals, as an 8 bit instrument would not beat.
ONE_V = np.round(0.35 + 0.3 * np.sin(INDEX / 9.0) + 0.2 * (INDEX % 100 < 7), 4)
TWO_V = np.round(2.5 + INDEX * 0.005, 4)
THREE_V = np.round(-1.25 * np.cos(INDEX / 31.0), 4)
FOUR_V = np.round(11.9 + 0.01 * (INDEX % 13), 4)
EVERY_V = (ONE_V, TWO_V, THREE_V, FOUR_V)


@dataclass(frozen=True)
class Layout:
    """A layout's file, and the samples that are in it."""

    name: str
    data: bytes
    channels: dict[str, np.ndarray] = field(default_factory=lambda: {"CH1": ONE_V})
    interval_s: float = INTERVAL_S
    """Seconds between samples."""
    start_s: float | None = START_S
    """Time of the first sample; None where the file does not tell."""
    volts: float = 1e-9
    """Volts that a sample may be off: half a step where the file holds steps."""
    channel: str = ""
    """The channel asked for by name; empty: every channel."""


@dataclass(frozen=True)
class Refusal:
    """A layout that cannot be understood, and words that its reason holds."""

    name: str
    data: bytes
    reason: tuple[str, ...]


LAYOUTS: list[Layout] = []
REFUSALS: list[Refusal] = []


def layout(**expected: object) -> Callable[[Callable[[], str | bytes]], Callable[[], str | bytes]]:
    """Return a decorator that registers a layout; its name is the function's."""

    def register(write: Callable[[], str | bytes]) -> Callable[[], str | bytes]:
        text = write()
        data = text.encode() if isinstance(text, str) else text
        LAYOUTS.append(Layout(write.__name__.replace("_", " "), data, **expected))  # type: ignore[arg-type]
        return write

    return register


def refusal(*reason: str) -> Callable[[Callable[[], str | bytes]], Callable[[], str | bytes]]:
    """Return a decorator that registers a layout which is refused for a ``reason``."""

    def register(write: Callable[[], str | bytes]) -> Callable[[], str | bytes]:
        text = write()
        data = text.encode() if isinstance(text, str) else text
        REFUSALS.append(Refusal(write.__name__.replace("_", " "), data, reason))
        return write

    return register


def rows(
    form: str, *volts: Iterable[float], times: Iterable[float] = TIME_S, end: str = "\n"
) -> str:
    """Return one line a sample: ``n``, ``t`` and the channels ``a`` to ``d`` in a form."""
    lines = [
        form.format(n=n, t=t, **dict(zip("abcd", sample, strict=False)))
        for n, (t, *sample) in enumerate(zip(times, *(volts or (ONE_V,)), strict=True))
    ]
    return end.join(lines) + end


def beside(settings: str, form: str, blank: str, *volts: Iterable[float]) -> str:
    """Return rows with one line of settings left of each, as long as there are settings."""
    labels = settings.strip("\n").split("\n")
    body = rows(form, *volts).splitlines()
    labels += [blank] * (len(body) - len(labels))
    return "\n".join(f"{label},{row}" for label, row in zip(labels, body, strict=True)) + "\n"
