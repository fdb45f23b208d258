"""A capture over the picture: judged, drawn, and nothing kept; only from our own page."""

from __future__ import annotations

import io
import wave
from html import unescape
from pathlib import Path

import httpx
import numpy as np
import pytest
from datasette.app import Datasette
from pinfolio.plugins.web.serving.request_limits import within_limits
from pinfolio.plugins.web.serving.server import open_datasette
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin

PAGE = "/chip/TQZ5752/6/capture"
OURS = {"sec-fetch-site": "same-origin"}


@pytest.fixture(scope="module")
def visitor(site_of_module: Datasette) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app=within_limits(site_of_module.app()))
    return httpx.AsyncClient(transport=transport, base_url="http://localhost/")


@pytest.fixture(scope="module")
def site_of_module(demo_path: Path) -> Datasette:
    return open_datasette(demo_path)


def write_capture(chip: Chip, share: float) -> bytes:
    """Three lines of pin 6's expected trace, at a share of its size, as an oscilloscope writes."""
    expectation = find_pin(chip, "6").expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(0, 192e-6, 25e-9)
    volts = expectation.volts(t_s)
    volts = volts.mean() + (volts - volts.mean()) * share
    rows = (f"{t:.9f},{v:.4f}" for t, v in zip(t_s, volts, strict=True))
    return "\n".join(["time,volts", *rows]).encode()


async def test_a_small_signal_is_seen_drawn_and_leads_on(
    visitor: httpx.AsyncClient, jungle: Chip
) -> None:
    files = {"capture": ("bars.csv", write_capture(jungle, 0.6), "text/csv")}
    answer = await visitor.post(PAGE, files=files, headers=OURS)
    html = unescape(answer.text)
    assert answer.status_code == 200
    assert "Burst low, video low</h2>" in html
    assert "burst amplitude" in html
    for drawn in ("scope-captured", "difference-band", "vector-measured", "spectrum-mark"):
        assert f'class="{drawn}"' in html
    assert "Right direction, 60% of the length" in html
    assert "Outside the band" in html
    assert "0.8 to 1.2 Vpp" in html
    assert "/chip/TQZ5752/fault-finding?at=6&dc=" in html
    assert "/note?chip=TQZ5752&at=pin+6&condition=colour+bars&dc=" in html
    assert "&attach=bars.csv" in html


def write_sound(chip: Chip, full_scale_v: float) -> bytes:
    """Three lines of pin 6's expected trace as a WAV file of 16 bits."""
    expectation = find_pin(chip, "6").expectation("colour bars")
    assert expectation is not None
    shares = expectation.volts(np.arange(0, 192e-6, 25e-9)) / full_scale_v
    file = io.BytesIO()
    with wave.open(file, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(40_000_000)
        sound.writeframes(np.round(shares * 2**15).astype("<i2").tobytes())
    return file.getvalue()


async def test_a_sound_file_is_read_with_its_volts_of_full_scale(
    visitor: httpx.AsyncClient, jungle: Chip
) -> None:
    files = {"capture": ("bars.wav", write_sound(jungle, 8.0), "audio/wav")}
    refused = await visitor.post(PAGE, files=files, headers=OURS)
    assert refused.status_code == 422
    assert "the volts of full scale" in unescape(refused.text)
    answer = await visitor.post(PAGE, files=files, headers=OURS, data={"full_scale": "8 V"})
    html = unescape(answer.text)
    assert answer.status_code == 200
    assert "Within the band all along" in html
    assert "&attach=bars.wav&full_scale=8+V" in html
    query = "chip=TQZ5752&at=pin+6&condition=colour+bars&dc=3V&attach=a.wav&full_scale=8+V"
    note = (await visitor.get(f"/note?{query}")).text
    assert "--attach a.wav" in unescape(note)
    assert "--full-scale '8 V'" in unescape(note)
    nonsense = await visitor.post(PAGE, files=files, headers=OURS, data={"full_scale": "loud"})
    assert nonsense.status_code == 422
    assert "loud" in nonsense.text


async def test_a_good_signal_is_right_in_size(visitor: httpx.AsyncClient, jungle: Chip) -> None:
    files = {"capture": ("bars.csv", write_capture(jungle, 1.0), "text/csv")}
    html = (await visitor.post(PAGE, files=files, headers=OURS)).text
    assert html.count("✓ right") >= 2
    assert "Within the band all along" in html
    assert "all in their boxes" in html
    assert "✗" not in html


async def test_without_a_file_the_page_asks_for_one(visitor: httpx.AsyncClient) -> None:
    assert "Lay it over" in (await visitor.get(PAGE)).text
    answer = await visitor.post(PAGE, content=b"x", headers=OURS)
    assert answer.status_code == 422
    assert "Choose a file first." in answer.text


@pytest.mark.parametrize("data", [b"\x00" * 2000, b"hello\nworld\n", b"1,2\n" * 3])
async def test_a_file_that_is_no_capture_is_refused_in_words(
    visitor: httpx.AsyncClient, data: bytes
) -> None:
    answer = await visitor.post(PAGE, files={"capture": ("<b>.csv", data)}, headers=OURS)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "<b>.csv" not in answer.text


@pytest.mark.parametrize(
    ("address", "headers", "status"),
    [
        (PAGE, {"sec-fetch-site": "cross-site"}, 403),
        (PAGE, {"origin": "http://elsewhere.example"}, 403),
        (PAGE, {}, 403),
        (PAGE, {"origin": "http://localhost"}, 422),
        (PAGE, {**OURS, "content-length": "21000000"}, 413),
        ("/chip/TQZ5752/6", OURS, 405),
        ("/demo/pin/capture", OURS, 405),
    ],
)
async def test_only_a_capture_from_our_own_page_is_taken(
    visitor: httpx.AsyncClient, address: str, headers: dict[str, str], status: int
) -> None:
    answer = await visitor.post(address, content=b"x", headers=headers)
    assert answer.status_code == status


async def test_what_is_sent_beyond_its_length_is_not_read(visitor: httpx.AsyncClient) -> None:
    form = b'--x\r\nContent-Disposition: form-data; name="capture"; filename="a"\r\n\r\n'
    headers = {**OURS, "content-type": "multipart/form-data; boundary=x", "content-length": "100"}
    answer = await visitor.post(PAGE, content=form + b"1,2\n" * 5_100_000, headers=headers)
    assert answer.status_code == 422
    assert "larger than 20 MB" in answer.text
