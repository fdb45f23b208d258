"""A record read from a simulated instrument (pyvisa-sim) that answers the generic queries."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.captures.capture import UnknownChannel
from pinfolio.loaders.captures.scope_link import ScopeLinkError, read_scope

SCOPE, OTHER = "TCPIP::192.0.2.7::INSTR", "TCPIP::192.0.2.8::INSTR"
"""Addresses for examples: RFC 5737."""


@pytest.fixture(autouse=True)
def _simulated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYVISA_LIBRARY", f"{Path(__file__).with_name('quellwald.yaml')}@sim")


def test_the_record_comes_with_its_settings() -> None:
    capture = read_scope(SCOPE, "2")
    assert capture.names == ("CH2",)
    assert capture.interval_s == pytest.approx(40e-9)
    assert capture.t_s[0] == pytest.approx(-160e-9)
    assert capture.channels[0] == pytest.approx([0.1, 0.2, 0.3, 0.4, 0.3, 0.2, 0.1, 0.05])
    assert capture.remarks == (
        "Read from Quellwald QW-120: AC coupled, 200 mV and 20 µs per division, x10 probe",
    )


def test_an_address_alone_is_one_on_the_network() -> None:
    assert len(read_scope("192.0.2.7", "2").t_s) == 8


def test_settings_that_are_not_answered_are_left_out() -> None:
    assert read_scope(SCOPE, "CH1").remarks == ("Read from Quellwald QW-120: 20 µs per division",)


@pytest.mark.parametrize(
    ("address", "says"),
    [
        (OTHER, "192.0.2.8::INSTR: the preamble 'ERROR'"),
        ("TCPIP::192.0.2.9::INSTR", "192.0.2.9::INSTR: "),
        ("no such thing::", "no such thing::: no instrument"),
    ],
)
def test_what_does_not_answer_is_said(address: str, says: str) -> None:
    with pytest.raises(ScopeLinkError) as refused:
        read_scope(address, "1")
    assert says in str(refused.value)


@pytest.mark.parametrize("channel", ["0", "CH99", "A; *RST", ""])
def test_nothing_but_a_channel_number_is_sent(channel: str) -> None:
    with pytest.raises(UnknownChannel, match="expected 1 to 8"):
        read_scope(SCOPE, channel)


def test_without_the_extra_the_remedy_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyvisa", None)
    with pytest.raises(ScopeLinkError, match=r"pip install 'pinfolio\[scope\]'"):
        read_scope(SCOPE, "1")
