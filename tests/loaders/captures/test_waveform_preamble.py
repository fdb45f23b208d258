"""Answers of an instrument: definite-length blocks (IEEE 488.2, 8.7.9), preambles, samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.captures.waveform_preamble import (
    AnswerError,
    Preamble,
    parse_preamble,
    parse_samples,
    unwrap_block,
)

PREAMBLE = "4,0,500,1,4.0E-08,-1.0E-05,0,7.8125E-03,0.5,128"
"""Format, type, points, count; x increment, origin, reference; y increment, origin, reference."""


@pytest.mark.parametrize(
    ("block", "data"),
    [
        (b"#15HELLO\n", b"HELLO"),
        (b"#800000005HELLO", b"HELLO"),
        (b"#0HELLO\n", b"HELLO"),
        (b"0.1,0.2\n", b"0.1,0.2"),
    ],
)
def test_a_block_is_unwrapped(block: bytes, data: bytes) -> None:
    assert unwrap_block(block) == data


@pytest.mark.parametrize("block", [b"#9", b"#x5HELLO", b"#15HELL", b"#2999"])
def test_a_broken_block_is_refused(block: bytes) -> None:
    with pytest.raises(AnswerError, match="block"):
        unwrap_block(block)


def test_times_follow_the_preamble() -> None:
    preamble = parse_preamble(PREAMBLE)
    assert preamble == Preamble(500, 4e-8, -1e-5, 0.0, 7.8125e-3)
    t_s = preamble.compute_times_s(3)
    assert t_s == pytest.approx([-1e-5, -1e-5 + 4e-8, -1e-5 + 8e-8])


@pytest.mark.parametrize(
    "text", ["", "1,2,3", "a,b,c,d,e,f,g,h,i,j", PREAMBLE.replace("4.0E-08", "-1"), "nan," * 10]
)
def test_another_preamble_is_refused(text: str) -> None:
    with pytest.raises(AnswerError, match="preamble"):
        parse_preamble(text)


def test_samples_are_volts() -> None:
    volts = parse_samples(b"#9000000023-1.5E-01, 2.0E-01,0.35\n,", parse_preamble(PREAMBLE))
    assert volts == pytest.approx([-0.15, 0.2, 0.35])


def test_counts_in_place_of_volts_are_refused() -> None:
    """Instruments differ in how the vertical origin counts, so counts are not converted."""
    with pytest.raises(AnswerError, match="counts"):
        parse_samples(b"128,129,140,250,3", parse_preamble(PREAMBLE))


@pytest.mark.parametrize("data", [b"", b"1.5", b"1.5,x", b"1.5,9.9E37,0.2", b"1.5,nan"])
def test_what_is_no_record_is_refused(data: bytes) -> None:
    with pytest.raises(AnswerError):
        parse_samples(data, parse_preamble(PREAMBLE))


@given(st.lists(st.floats(-40, 40), min_size=2, max_size=50))
def test_volts_come_back(values: list[float]) -> None:
    written = ",".join(f"{value + 0.0001:.6E}" for value in values)
    preamble = parse_preamble(PREAMBLE)
    assert np.allclose(
        parse_samples(written.encode(), preamble), np.array(values) + 1e-4, rtol=1e-5, atol=1e-5
    )


@given(st.binary(max_size=60))
def test_any_answer_is_read_or_refused(answer: bytes) -> None:
    for parse in (
        unwrap_block,
        lambda data: parse_preamble(data.decode("latin-1")),
        lambda data: parse_samples(data, parse_preamble(PREAMBLE)),
    ):
        try:
            parse(answer)
        except AnswerError:
            continue
