"""Signals and resistances beside the DC become suggestions for review; never DC, never lost.

The tables are invented, in the layouts of service manuals; common practice.
"""

from __future__ import annotations

import pytest
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.drafting.chip_draft import Origin, draft_chip
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.drafting.signal_headings import find_signal_key
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.schema import Package

SIP = Package.model_validate({"family": "SIP", "pins": 4})
HEAD = "Pin,Symbol,Function,DC (V),AC (Vpp),Frequency (kHz),Waveform No.,Red/black (kΩ)\n"
ROWS = (
    "1,VP,supply,8,,,,1.1/0.9\n2,GND,ground,0,,,,\n"
    "3,XTAL,subcarrier crystal,3.2,0.5,4433.619,,12/13\n"
    "4,CVBS,composite video input,3.4,1.0,15.625,7,5.6/7.2\n"
)


def read(text: str) -> PinTable:
    return read_pin_table(text.encode(), "t.csv")


def draft_text(table: PinTable) -> str:
    identity = Identity("QZ1", "Nobody", "jungle", SIP)
    return draft_chip(table, identity, Origin("sheet", "data sheet", "t")).text


@pytest.mark.parametrize(
    ("heading", "key"),
    [
        ("Vpp", "vpp"), ("AC (Vp-p)", "vpp"), ("Output voltage (mVpp)", "vpp"), ("AC (V)", "ac"),
        ("Frequency", "frequency"), ("Freq.", "frequency"), ("Waveform No.", "waveform"),
        ("Oscillogram", "waveform"), ("Red lead on pin (kΩ)", "red_on_pin"),
        ("Black lead (Ω)", "black_on_pin"), ("Red lead on ground (kΩ)", "black_on_pin"),
        ("Red/black kΩ", "red_and_black"), ("Ripple (Vpp)", None), ("Red", None),
        ("Red output level", None), ("Noise Vpp", None), ("DC voltage (V)", None),
    ],
)  # fmt: skip
def test_headings_of_signals_and_resistances(heading: str, key: str | None) -> None:
    words = heading.split("(")[0].removesuffix(" kΩ").strip()
    assert find_signal_key(heading, words) == key


def test_a_stated_signal_fills_the_waveform_that_the_words_suggest() -> None:
    lines = [line.strip() for line in draft_text(read(HEAD + ROWS)).splitlines()]
    assert (
        "waveform: {kind: sine, frequency: 4433.619 kHz, vpp: 0.5 Vpp}  # review: kind by the words"
    ) in lines
    assert (
        "waveform: {kind: composite video, system: , bars: , vpp: 1.0 Vpp}"
        "  #? system, bars; review: kind by the words"
    ) in lines
    assert "# review: its signal as stated: 15.625 kHz, waveform 7" in lines
    assert "resistance: {red_on_pin: 5.6 kΩ, black_on_pin: 7.2 kΩ}" in "\n".join(lines)


def test_the_reviewed_draft_reads_back_with_its_signals() -> None:
    text = draft_text(read(HEAD + ROWS))
    text = text.replace("system: , bars: ,", "system: PAL-B/G, bars: 75 %,")
    chip = read_chip(text.replace("summary:", "invented: yes\nsummary:", 1).encode(), "qz1.yaml")
    crystal, video = (pin.expectations for pin in chip.pins[2:])
    assert crystal[0].waveform is not None
    assert crystal[0].waveform.frequency_hz == 4433619
    assert video[0].dc is not None
    assert str(video[0].dc) == "3.4 V"
    assert video[1].condition == "off"
    assert video[1].resistance is not None
    assert str(video[1].resistance.black_on_pin) == "7.2 kΩ"
    assert [pin.expectations[0].source.note for pin in chip.pins] == [
        "row 2", "row 3", "row 4", "row 5",
    ]  # fmt: skip


def test_the_signal_goes_to_the_state_with_a_signal() -> None:
    head = "Pin,Symbol,Function,DC no signal (V),DC colour bars (V),Vpp,Frequency (MHz)\n"
    lines = draft_text(read(f"{head}3,X,subcarrier crystal,3,3.1,0.5,4.43\n")).splitlines()
    at = next(n for n, line in enumerate(lines) if "waveform: {" in line)
    assert lines[at - 2].strip() == "- condition: colour bars"
    assert lines[at - 1].strip() == "dc: 3.1 V"


def test_a_signal_of_another_table_names_its_own_place() -> None:
    first = "Pin,Symbol,Function,DC (V)\n3,X,subcarrier crystal,3\n"
    text = f"{first}\nPin,Vpp,Frequency (MHz)\n3,0.5,4.43\n"
    assert 'note: "Signal and resistance: row 5 of the source"' in draft_text(read(text))


def test_a_signal_without_a_kind_is_a_remark() -> None:
    text = draft_text(read("Pin,Symbol,Function,AC (V),Vpp\n1,A,something,0.3,0.9\n2,B,other,,\n"))
    assert "# review: its signal as stated: 0.9 Vpp, AC 0.3" in text
    assert "waveform: {" not in text
    assert "dc:" not in text


@pytest.mark.parametrize(
    ("head", "cell", "reason"),
    [
        ("Vpp", "large", "vpp of pin 1: expected a peak-to-peak voltage in Vpp"),
        ("Frequency", "15.625", "frequency of pin 1: expected a frequency in Hz"),
        ("Red/black kΩ", "5.6", "resistances of pin 1: expected two, such as 5.6/7.2"),
        ("Red lead on pin", "5.6", "red_on_pin of pin 1: expected a resistance in Ω"),
    ],
)
def test_cells_that_cannot_be_read_are_listed(head: str, cell: str, reason: str) -> None:
    (line,) = (str(each) for each in read(f"Pin,Symbol,{head}\n1,A,{cell}\n2,B,\n").unread)
    assert reason in line
