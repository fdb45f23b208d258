"""A capture read in a child process is the same; its faults come across as they are."""

from __future__ import annotations

import numpy as np
import pytest
from pinfolio.loaders.captures.limited_capture import read_capture_limited
from pinfolio.loaders.captures.text_capture import CaptureError, read_capture

SINE = "time,volts\n" + "\n".join(f"{n * 1e-6:.7f},{np.sin(n / 9):.4f}" for n in range(400))


def test_the_samples_are_those_of_the_parser() -> None:
    limited, plain = read_capture_limited(SINE.encode(), "a"), read_capture(SINE.encode(), "a")
    assert np.array_equal(limited.t_s, plain.t_s)
    assert np.array_equal(limited.channels[0], plain.channels[0])


def test_its_faults_are_told_alike() -> None:
    with pytest.raises(CaptureError) as plain:
        read_capture(b"nothing here\n", "a.csv")
    with pytest.raises(CaptureError) as limited:
        read_capture_limited(b"nothing here\n", "a.csv")
    assert str(limited.value) == str(plain.value)
