"""Fetching a published folio: verified, resumed where it broke off, the old one kept.

The expectations of ranges are from HTTP semantics, RFC 9110, section 14.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders import FolioError, open_folio
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing.download_source import Source
from pinfolio.loaders.publishing.fetching import FetchError, fetch_folio
from pinfolio.loaders.publishing.manifest import FolioManifest, read_manifest
from pinfolio.loaders.publishing.published_folder import publish


def list_neighbours(out: Path) -> list[str]:
    return sorted(path.name for path in out.parent.iterdir() if path != out)


def read(folder: Path) -> FolioManifest:
    return read_manifest((folder / "manifest.json").read_bytes(), "manifest.json")


def test_what_is_fetched_is_what_was_published_and_answers(
    server: Any, folio: Path, tmp_path: Path
) -> None:
    out = tmp_path / "new" / "folio.db"
    fetched = fetch_folio(Source(server.address), out)
    assert out.read_bytes() == folio.read_bytes()
    assert fetched.received_bytes == folio.stat().st_size
    assert list_neighbours(out) == []
    with open_folio(out) as opened:
        assert opened.info.chips == len(chip_files())


@pytest.mark.parametrize("ending", ["", "manifest.json"])
def test_the_address_may_be_of_the_folder_or_the_manifest(
    server: Any, tmp_path: Path, ending: str
) -> None:
    assert fetch_folio(Source(server.address + ending), tmp_path / "folio.db").received_bytes


def test_from_a_folder_or_a_file_address_without_any_network(
    published: Path, folio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise AssertionError("went on the network")

    monkeypatch.setattr(socket.socket, "connect", refused)
    for number, address in enumerate((str(published), published.as_uri())):
        out = tmp_path / f"{number}.db"
        fetch_folio(Source(address), out)
        assert out.read_bytes() == folio.read_bytes()


def test_what_is_here_already_is_not_fetched(server: Any, tmp_path: Path) -> None:
    out = tmp_path / "folio.db"
    fetch_folio(Source(server.address), out)
    server.asked.clear()
    assert fetch_folio(Source(server.address), out).received_bytes is None
    assert [name for name, _ in server.asked] == ["manifest.json"]


def test_a_fetch_that_broke_off_goes_on_where_it_was(
    server: Any, folio: Path, tmp_path: Path
) -> None:
    server.break_after = 300_000
    out = tmp_path / "folio.db"
    fetch_folio(Source(server.address), out)
    assert out.read_bytes() == folio.read_bytes()
    ranges = [wanted for name, wanted in server.asked if name.startswith("folio-")]
    assert ranges[:3] == [None, "bytes=300000-", "bytes=600000-"]


def test_an_earlier_run_is_gone_on_with(
    server: Any, folio: Path, old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = old.read_bytes()
    server.break_after = 0
    with pytest.raises(FetchError, match="run the same command to continue"):
        fetch_folio(Source(server.address), old)
    assert old.read_bytes() == before
    (partial,) = list_neighbours(old)
    (old.parent / partial).write_bytes(folio.read_bytes()[:200_000])
    server.break_after = None
    server.asked.clear()
    assert fetch_folio(Source(server.address), old).received_bytes == folio.stat().st_size - 200_000
    assert server.asked[-1][1] == "bytes=200000-"
    assert old.read_bytes() == folio.read_bytes()
    assert list_neighbours(old) == []


def test_a_server_without_ranges_sends_all_of_it_again(
    server: Any, folio: Path, tmp_path: Path
) -> None:
    out = tmp_path / "folio.db"
    partial = out.with_name(f".folio.db.{read(server.folder).folio.sha256}.part")
    partial.write_bytes(folio.read_bytes()[:500_000])
    server.ranges = False
    fetch_folio(Source(server.address), out)
    assert out.read_bytes() == folio.read_bytes()


@settings(max_examples=25)
@given(st.binary(max_size=200_000), st.integers(0, 200_000))
def test_whatever_an_earlier_run_left_is_put_right(
    folio: Path, tmp_path_factory: pytest.TempPathFactory, garbage: bytes, good: int
) -> None:
    folder = tmp_path_factory.mktemp("any")
    publish(folio, folder / "public")
    out = folder / "folio.db"
    sha256 = read(folder / "public").folio.sha256
    left = out.with_name(f".folio.db.{sha256}.part")
    left.write_bytes(folio.read_bytes()[:good] + garbage)
    fetch_folio(Source(str(folder / "public")), out)
    assert out.read_bytes() == folio.read_bytes()
    shutil.rmtree(folder)


def test_what_is_left_of_other_folios_goes(server: Any, tmp_path: Path) -> None:
    out = tmp_path / "folio.db"
    other = out.with_name(f".folio.db.{'0' * 64}.part")
    other.write_bytes(b"half")
    fetch_folio(Source(server.address), out)
    assert not other.exists()


def test_published_anew_between_manifest_and_folio(
    server: Any, tmp_path: Path, folio: Path
) -> None:
    """The old edition goes just after its manifest was read: the new one is fetched."""
    newer = tmp_path / "newer.db"
    build_folio(chip_files()[:2], newer)
    done: list[str] = []

    def anew(name: str, data: bytes) -> bytes:
        if not done:
            done.append(name)
            publish(newer, server.folder, prune=True)
        return data

    server.change = anew
    out = tmp_path / "folio.db"
    fetch_folio(Source(server.address), out)
    assert out.read_bytes() == newer.read_bytes()


def test_another_file_is_not_replaced(server: Any, tmp_path: Path) -> None:
    out = tmp_path / "accounts.xls"
    out.write_bytes(b"mine")
    with pytest.raises(FolioError, match="is not a folio"):
        fetch_folio(Source(server.address), out)
    assert server.asked == []


def test_two_at_once_do_not_write_to_the_same_file(server: Any, tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    out = tmp_path / "folio.db"
    partial = out.with_name(f".folio.db.{read(server.folder).folio.sha256}.part")
    with partial.open("wb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(FetchError, match="another process is fetching this folio"):
            fetch_folio(Source(server.address), out)


def test_killed_at_any_instant_the_folio_is_the_old_or_the_new(
    server: Any, folio: Path, old: Path
) -> None:
    """A few of the kills that tests/reliability does by the hundred."""
    program = (
        "import sys; from pathlib import Path;"
        "from pinfolio.loaders.publishing.fetching import fetch_folio;"
        "from pinfolio.loaders.publishing.download_source import Source;"
        "print(flush=True); fetch_folio(Source(sys.argv[1]), Path(sys.argv[2]))"
    )
    whole = {old.read_bytes(), folio.read_bytes()}
    for wait_s in (0.0, 0.005, 0.01, 0.02, 0.04):
        run = [sys.executable, "-c", program, server.address, str(old)]
        with subprocess.Popen(run, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as fetch:
            assert fetch.stdout is not None
            fetch.stdout.readline()
            time.sleep(wait_s)
            os.kill(fetch.pid, signal.SIGKILL)
        assert old.read_bytes() in whole
    fetch_folio(Source(server.address), old)
    assert old.read_bytes() == folio.read_bytes()
    assert list_neighbours(old) == []
