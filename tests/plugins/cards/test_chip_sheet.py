"""The chip sheet: its pin table."""

from __future__ import annotations

from pinfolio.plugins.cards.chip_sheet import build_chip_sheet
from pinfolio.schema import Chip


def test_the_signal_of_a_pin_is_that_of_its_liveliest_condition(jungle: Chip) -> None:
    """Colour bars make more to see than a plain raster, wherever the chip file lists them."""
    pin = next(
        pin
        for pin in jungle.pins
        if any(e.waveform and e.condition == "colour bars" for e in pin.expectations)
    )
    bars = next(e for e in pin.expectations if e.waveform and e.condition == "colour bars")
    assert bars.waveform is not None
    weaker = bars.model_copy(
        update={
            "condition": "no signal",
            "waveform": bars.waveform.model_copy(update={"kind": "hum"}),
        }
    )
    for expectations in ((bars, weaker), (weaker, bars)):
        changed = pin.model_copy(update={"expectations": expectations})
        chip = jungle.model_copy(update={"pins": (changed,)})
        (line,) = build_chip_sheet(chip).lines
        assert line.signal.startswith(f"{bars.waveform.kind}, ")


def test_a_pin_without_a_waveform_has_no_signal(jungle: Chip) -> None:
    silent = [
        line
        for line in build_chip_sheet(jungle).lines
        if not any(e.waveform for e in line.pin.expectations)
    ]
    assert silent
    assert {line.signal for line in silent} == {""}
