"""The Python door: a folio, a chip, a pin, expected volts, and the display in a notebook."""

from __future__ import annotations

import doctest
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from pinfolio.loaders import find_folio, open_folio
from pinfolio.plugins import notebook
from pinfolio.plugins.notebook import show_chip, show_pin
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import UnknownCondition, UnknownPin
from pinfolio.schema.systems import SCANNING

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def chip(demo_path: Path) -> Chip:
    with open_folio(demo_path) as folio:
        return folio.chip("TQZ5752")


def test_the_examples_are_true(demo_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    found = doctest.testmod(notebook)
    assert found.attempted >= 3
    assert found.failed == 0


def test_the_folio_of_the_commands_is_found(
    demo_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    assert find_folio() == demo_path


def test_a_waveform_is_an_array_of_volts(chip: Chip) -> None:
    """Composite video at a sync input: 1 Vpp, the same one line later (ITU-R BT.470)."""
    pin = chip.pin("SYNC IN")
    assert pin is not None
    expectation = next(e for e in pin.expectations if e.condition == "colour bars")
    assert expectation.waveform is not None
    line_s = float(1 / SCANNING["PAL-B/G"].line_hz)
    t_s = np.linspace(10 * line_s, 11 * line_s, 10_000)
    volts = expectation.waveform.volts(t_s)
    assert volts.shape == t_s.shape
    assert np.ptp(volts) == pytest.approx(expectation.waveform.vpp_v, rel=0.25)


def test_a_chip_is_a_line_of_text_and_a_table_of_its_pins(chip: Chip) -> None:
    display = show_chip(chip)
    assert repr(display).startswith("TQZ5752: ")
    assert repr(display).endswith("(invented)")
    html = display._repr_html_()
    assert html.count("<tr>") == 1 + len(chip.pins)
    assert ">SYNC IN<" in html
    assert ET.fromstring(display._repr_svg_()).tag == f"{SVG}svg"


def test_one_condition_makes_one_column(chip: Chip) -> None:
    html = show_chip(chip, "colour bars")._repr_html_()
    assert "<th>colour bars</th>" in html
    assert "<th>standby</th>" not in html


def test_a_pin_shows_its_values_its_picture_and_its_cautions(chip: Chip) -> None:
    display = show_pin(chip, 13, "colour bars")
    assert repr(display) == "TQZ5752 pin 13 SYNC IN, colour bars: 3.4 V, 1 Vpp, 15.625 kHz"
    svg = display._repr_svg_()
    assert svg is not None
    assert ET.fromstring(svg).get("class") == "scope-picture"
    html = display._repr_html_()
    assert "<td>3.4 V</td><td>1 Vpp</td><td>15.625 kHz</td>" in html
    assert html.count("<svg") == 1
    assert "Work on live sets is for people trained for it" in html


def test_a_pin_without_a_signal_has_no_picture(chip: Chip) -> None:
    display = show_pin(chip, "1", "off")
    assert display._repr_svg_() is None
    assert "<svg" not in display._repr_html_()


def test_text_of_a_chip_file_is_escaped(chip: Chip) -> None:
    hostile = chip.model_copy(
        update={
            "pins": tuple(
                pin.model_copy(update={"function": "<script>alert(1)</script>"})
                for pin in chip.pins
            )
        }
    )
    for html in (show_chip(hostile)._repr_html_(), show_pin(hostile, 13)._repr_html_()):
        assert "<script" not in html
        assert "&lt;script&gt;" in html


def test_an_unknown_name_is_an_error_that_names_the_nearest(chip: Chip) -> None:
    with pytest.raises(UnknownPin, match="SYNC IN"):
        show_pin(chip, "SYNK IN")
    with pytest.raises(UnknownCondition, match="colour bars"):
        show_pin(chip, 13, "blue screen")
