"""Cost of instruments: a card through them, and the volts of composite video they work on."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.cards.pictures import draw_instrument_picture, draw_scope_picture
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN

Report = Callable[..., None]
Seconds = Callable[..., float]

SAMPLES = 1_000_000


@pytest.fixture(scope="module")
def jungle() -> Chip:
    return load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))


@pytest.mark.parametrize("number", ["13", "22", "46"])
@pytest.mark.parametrize("scope", ["analogue 20 MHz", "digitising 50 MHz"])
def test_a_card_through_instruments(
    jungle: Chip, number: str, scope: str, report: Report, seconds: Seconds
) -> None:
    """Card and both pictures against the plain card with its one picture."""
    pin, chosen = find_pin(jungle, number), BUILT_IN.choose(scope=scope)

    def plain() -> None:
        card = build_pin_card(jungle, pin)
        card.document()
        assert draw_scope_picture(card)

    def ours() -> None:
        card = build_pin_card(jungle, pin, None, chosen)
        card.document()
        assert draw_scope_picture(card)
        assert draw_instrument_picture(card)

    name = f"card {number} through {scope}, against the plain card"
    report(name, seconds(ours, 5), seconds(plain, 5))


@pytest.mark.parametrize("rate", ["a field", "four times the subcarrier"])
def test_volts_of_composite_video(
    rate: str, jungle: Chip, report: Report, seconds_in_turn: Callable[..., list[float]]
) -> None:
    """Samples of colour bars against as many plain sines."""
    waveform = next(e.waveform for e in find_pin(jungle, "13").expectations if e.waveform)
    assert waveform.kind == "composite video"
    interval_s = 20e-9 if rate == "a field" else 1 / (4 * waveform.carrier_hz)
    t_s = np.arange(SAMPLES) * interval_s
    ours_s, sine_s = seconds_in_turn(lambda: waveform.volts(t_s), lambda: np.sin(t_s * 2.8e7))
    name = f"composite video over {rate}, against numpy.sin"
    report(name, ours_s, sine_s, samples_a_second=SAMPLES / ours_s)
