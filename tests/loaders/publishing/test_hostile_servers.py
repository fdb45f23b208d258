"""Whatever a server does, the folio that was here stays, and the refusal says why."""

from __future__ import annotations

import gzip
import hashlib
import json
import socket
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.folio.folio_file import SCHEMA_VERSION, check_folio_file
from pinfolio.loaders.publishing.download_source import Source, SourceError, check_redirect
from pinfolio.loaders.publishing.fetching import FetchError, fetch_folio
from pinfolio.loaders.publishing.manifest import ManifestError, read_manifest

PIECE = 2**16  # bytes of a piece in these tests


def list_neighbours(out: Path) -> list[str]:
    return sorted(path.name for path in out.parent.iterdir() if path != out)


def flip_byte(name: str, data: bytes) -> bytes:
    return data[:70_000] + bytes([data[70_000] ^ 1]) + data[70_001:] if "folio-" in name else data


def test_a_changed_byte_is_found_in_its_piece_and_the_old_folio_stays(
    server: Any, old: Path
) -> None:
    before = old.read_bytes()
    server.change = flip_byte
    with pytest.raises(FetchError, match="piece 2 of"):
        fetch_folio(Source(server.address), old)
    assert old.read_bytes() == before
    ranges = [wanted for name, wanted in server.asked if name.startswith("folio-")]
    assert ranges == [None] + [f"bytes={PIECE}-"] * 3


def test_a_byte_that_was_wrong_once_is_fetched_again(server: Any, tmp_path: Path) -> None:
    seen: list[str] = []

    def once(name: str, data: bytes) -> bytes:
        seen.append(name)
        return flip_byte(name, data) if len(seen) == 2 else data

    server.change = once
    out = tmp_path / "folio.db"
    fetch_folio(Source(server.address), out)
    check_folio_file(out, afresh=True)


@pytest.mark.parametrize(
    ("headers", "said"),
    [
        ({"Content-Length": "99999999999"}, "the manifest says"),
        ({"Content-Encoding": "gzip"}, "packed as gzip"),
        ({"Content-Encoding": "br, gzip"}, "packed as br, gzip"),
    ],
)
def test_a_server_that_lies_is_refused(
    server: Any, old: Path, headers: dict[str, str], said: str
) -> None:
    before = old.read_bytes()

    def lie_about_the_folio(name: str, data: bytes) -> bytes:
        server.headers = headers if "folio-" in name else {}
        return data

    server.change = lie_about_the_folio
    with pytest.raises(FetchError, match=said):
        fetch_folio(Source(server.address), old)
    assert old.read_bytes() == before


def test_a_packed_bomb_of_a_manifest_is_not_unpacked(server: Any, old: Path) -> None:
    bomb = gzip.compress(b"[" * 50_000_000)
    server.headers = {"Content-Encoding": "gzip", "Content-Length": str(len(bomb))}
    server.change = lambda name, data: bomb
    with pytest.raises(FetchError, match="packed as gzip"):
        fetch_folio(Source(server.address), old)


def test_an_endless_manifest_is_cut_off(server: Any, old: Path) -> None:
    server.change = lambda name, data: b" " * 5_000_000
    with pytest.raises(FetchError, match="larger than the limit of 4,000,000 bytes"):
        fetch_folio(Source(server.address), old)


def test_more_than_the_manifest_says_is_not_read(server: Any, folio: Path, tmp_path: Path) -> None:
    def longer(name: str, data: bytes) -> bytes:
        server.headers = {"Content-Length": "", "Connection": "close"}
        return data + b"more" * 1_000_000 if "folio-" in name else data

    server.change = longer
    out = tmp_path / "folio.db"
    fetch_folio(Source(server.address), out)
    assert out.read_bytes() == folio.read_bytes()


@pytest.mark.parametrize("where", ["file:///etc/passwd", "ftp://127.0.0.1/x", "data:,x"])
def test_a_redirect_to_elsewhere_than_the_web_is_refused(
    server: Any, old: Path, where: str
) -> None:
    server.redirect = where
    with pytest.raises(FetchError, match=r"is refused|cannot be requested"):
        fetch_folio(Source(server.address), old)


def test_a_redirect_never_leads_from_https_to_http() -> None:
    secure, plain = httpx.URL("https://folios.example/"), httpx.URL("http://folios.example/")
    check_redirect(secure, httpx.URL("https://mirror.example/manifest.json"))
    check_redirect(plain, secure)
    check_redirect(plain, plain)
    with pytest.raises(SourceError, match="is refused"):
        check_redirect(secure, plain)


def test_redirects_in_a_ring_end(server: Any, old: Path) -> None:
    server.redirect = server.address + "manifest.json"
    with pytest.raises(FetchError, match="more than 5 redirects"):
        fetch_folio(Source(server.address), old)


def said_of(sha256: str, size: object, pieces: list[str] | None = None) -> dict[str, Any]:
    return {"sha256": sha256, "size": size, "piece_size": PIECE, "pieces": pieces or []}


def change_manifest(folder: Path, **fields: object) -> None:
    path = folder / "manifest.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | fields))


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"format": "pinfolio folio 2"}, "the format is 'pinfolio folio 2'"),
        ({"schema_version": SCHEMA_VERSION + 1}, f"this pinfolio reads {SCHEMA_VERSION}"),
        (
            {
                "folio": {
                    "sha256": "../../etc/passwd",
                    "size": 600,
                    "piece_size": PIECE,
                    "pieces": [],
                }
            },
            "folio.sha256",
        ),
        (
            {"folio": said_of("0" * 64, 600)},
            "has 0 pieces, but its size requires 1",
        ),
        (
            {"folio": said_of("0" * 64, -1)},
            "folio.size",
        ),
        (
            {"folio": said_of("0" * 64, 10**30)},
            "folio.size",
        ),
        (
            {"folio": said_of("0" * 64, 1e9)},
            "folio.size",
        ),
        ({"folio": {"name": "/etc/passwd"}}, "folio"),
        ({"chips": "\x1b[31m"}, "chips"),
        ({"more": 1}, "more"),
    ],
)
def test_a_hostile_manifest_is_refused_before_anything_is_fetched(
    server: Any, old: Path, fields: dict[str, object], said: str
) -> None:
    change_manifest(server.folder, **fields)
    with pytest.raises(FetchError) as refused:
        fetch_folio(Source(server.address), old)
    assert said in str(refused.value)
    assert "\x1b" not in str(refused.value)
    assert [name for name, _ in server.asked] == ["manifest.json"]
    assert list_neighbours(old) == []


@given(st.binary(max_size=300) | st.text().map(str.encode) | st.just(b"[" * 100_000))
def test_no_bytes_for_a_manifest_do_anything_but_be_refused(said: bytes) -> None:
    with pytest.raises(ManifestError):
        read_manifest(said, "manifest.json")


def test_a_folio_larger_than_the_disk_is_refused(server: Any, old: Path) -> None:
    size = 2**39
    pieces = ["0" * 64] * (size // 2**26)
    change_manifest(server.folder, folio=said_of("0" * 64, size, pieces) | {"piece_size": 2**26})
    with pytest.raises(FetchError, match="make room"):
        fetch_folio(Source(server.address), old)


def test_something_else_than_a_folio_with_the_right_digests_is_refused(
    server: Any, old: Path
) -> None:
    data, before = b"not a folio" * 1000, old.read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    (server.folder / f"folio-{sha256}.db").write_bytes(data)
    change_manifest(
        server.folder,
        folio=said_of(sha256, len(data), [sha256]),
    )
    with pytest.raises(FetchError, match="not a folio"):
        fetch_folio(Source(server.address), old)
    assert old.read_bytes() == before
    assert list_neighbours(old) == []


@pytest.mark.parametrize("address", ["ftp://x/y", "gopher://x", "http://", "data://x,y"])
def test_other_addresses_are_refused(address: str) -> None:
    with pytest.raises(SourceError, match="give http://"):
        Source(address)


def test_nobody_there(tmp_path: Path) -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        port = unused.getsockname()[1]
    with pytest.raises(FetchError, match="cannot connect: connection refused"):
        fetch_folio(Source(f"http://127.0.0.1:{port}/"), tmp_path / "folio.db")


def test_a_server_that_drips_is_cut_off_and_what_came_is_kept(
    server: Any, folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pinfolio.loaders.publishing.download_source.RATE_WINDOW_S", 0.2)
    out = tmp_path / "folio.db"
    server.drip_after = 100_000
    with pytest.raises(FetchError, match=r"bytes in .* s, less than 1,000 a second"):
        fetch_folio(Source(server.address), out)
    (partial,) = tmp_path.glob(".folio.db.*.part")
    kept = partial.stat().st_size
    assert kept > 100_000
    server.drip_after = None
    assert fetch_folio(Source(server.address), out).received_bytes == folio.stat().st_size - kept


def test_an_older_folio_offered_again_comes_only_when_asked_for(
    server: Any, old: Path, folio: Path
) -> None:
    """However well it is signed: a shop may have published it before it mended a fault."""
    before = old.read_bytes()
    change_manifest(server.folder, built="2001-01-01T00:00:00+00:00")
    with pytest.raises(
        FetchError, match=r"later than the published folio of .* to replace it anyway: --older"
    ):
        fetch_folio(Source(server.address), old)
    assert old.read_bytes() == before
    assert fetch_folio(Source(server.address), old, older=True).received_bytes
    assert old.read_bytes() == folio.read_bytes()


def test_a_damaged_folio_is_mended_by_any_edition(server: Any, old: Path, folio: Path) -> None:
    old.write_bytes(old.read_bytes()[:-1])
    change_manifest(server.folder, built="2001-01-01T00:00:00+00:00")
    fetch_folio(Source(server.address), old)
    assert old.read_bytes() == folio.read_bytes()


def test_a_time_that_is_none_is_refused(server: Any, old: Path) -> None:
    change_manifest(server.folder, built="yesterday\x1b")
    with pytest.raises(FetchError, match="is not in ISO 8601") as refused:
        fetch_folio(Source(server.address), old)
    assert "\x1b" not in str(refused.value)


def test_a_server_that_says_nothing_is_not_waited_for(tmp_path: Path) -> None:
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        address = f"http://127.0.0.1:{silent.getsockname()[1]}/"
        with pytest.raises(FetchError, match="no answer for a long time"):
            fetch_folio(Source(address, silence_s=0.2), tmp_path / "folio.db")
