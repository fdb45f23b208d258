"""The bench has no network: every command and page works without one, and none even tries it.

Whatever goes on the network is announced by an audit event first; see
https://docs.python.org/3/library/audit_events.html. Here each attempt is noted, and fails.
"""

from __future__ import annotations

import errno
import os
import shutil
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.terminal.cli import COMMANDS, main
from pinfolio.plugins.web.serving.server import open_datasette

REACHING_OUT = {
    *("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.sendto"),
    *("socket.sendmsg", "socket.gethostbyaddr"),
}

attempts: list[str] | None = None
"""What was tried while the network is away; None while it is there."""


def _no_network(event: str, arguments: tuple[Any, ...]) -> None:
    if attempts is not None and event in REACHING_OUT and not _is_local(*arguments):
        attempts.append(event)
        raise OSError(errno.ENETUNREACH, os.strerror(errno.ENETUNREACH))


def _is_local(asking: object, *_: object) -> bool:
    """Return True for a socket between processes of this machine, by which children are started."""
    return getattr(asking, "family", None) == getattr(socket, "AF_UNIX", object())


sys.addaudithook(_no_network)  # which is never taken away again, but does nothing by itself


@pytest.fixture
def tried() -> Iterator[list[str]]:
    """No network, for the time of a test; yields the attempts."""
    global attempts
    attempts = []
    yield attempts
    attempts = None


# In this order: what one writes, a later one reads. `figure` reads its points, `note add` nothing.
JOURNEY = """
find 5752 sync input
find T?Z57S2
chip TQZ5752
pin 5752 13
check 5752 13 --dc 3.1V --vpp 0.4Vpp
faultfind MDQ3724 --symptom "no green" --reading "2 vpp=0.01Vpp"
substitute KYE2620 C501 --box "1n, 1n5, 3n3"
instruments
compare KYE2620 KYE6848
figure -
rules
schema
new QZ5710 --package SDIP-42 -o qz5710.yaml
draft table.csv
lint chips
format --check chips
build chips -o built.db
find --folio built.db KYE2620
shop init shop-a --handle bench-a
note add TQZ5752 13 --kind remark --text "Reads so." --shop shop-a
note list TQZ5752 --shop shop-a
note search reads so
note import book.csv --yes --shop shop-a
note export -o notes.csv --shop shop-a
share -o notes.bundle --shop shop-a --yes
shop init shop-b --handle bench-b
merge notes.bundle --shop shop-b --accept-new
shops --shop shop-b
shop key rotate --yes --shop shop-a
shop device --shop shop-a
publish built.db -o public
pool-readings -o readings.parquet
fetch-folio public -o fetched.db
verify public
"""

LISTENING = {"serve", "demo", "preview"}
"""These wait for a browser; what they answer it with is asked further down."""

REACHING = {"capture"}
"""These reach out to the address that they are given, and to nothing else; asked below."""

POINTS = "µs V\n0 0.2\n12 0.2\n12 5\n64 5\n"
BOOK = "Chip,Pin,Text\nTQZ5752,13,Warm.\n"
TABLE = "Pin,Symbol,Function\n1,IN,input\n2,OUT,output\n3,GND,ground\n4,VCC,supply\n"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user who has nothing yet, in a folder with two chip files and a table of pins."""
    for name in ("DATA", "CACHE", "CONFIG"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "home"))
    for name in ("FOLIO", "SHOP"):
        monkeypatch.delenv(f"PINFOLIO_{name}", raising=False)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "chips").mkdir()
    for path in chip_files():
        if path.stem in ("kye2620", "tqz3609"):
            shutil.copy(path, tmp_path / "chips")
    (tmp_path / "table.csv").write_text(TABLE, encoding="utf-8")
    (tmp_path / "book.csv").write_text(BOOK, encoding="utf-8")
    return tmp_path


def run_pinfolio(line: str) -> Result:
    return CliRunner().invoke(main, line, input=POINTS)


def test_every_command_answers(bench: Path, tried: list[str]) -> None:
    lines = JOURNEY.strip().splitlines()
    assert {line.split()[0] for line in lines} == set(COMMANDS) - LISTENING - REACHING
    for line in lines:
        result = run_pinfolio(line)
        assert result.exit_code in (0, 1), f"{line}: {result.output}"
        assert result.exception is None or isinstance(result.exception, SystemExit), line
    assert tried == []


async def test_every_page_answers(tmp_path: Path, tried: list[str]) -> None:
    build_folio([*chip_files(), *note_files()], tmp_path / "demo.db")
    site = open_datasette(tmp_path / "demo.db")
    for address in (
        *("/", "/find?q=5752+sync", "/chip/TQZ5752", "/chip/TQZ5752/13", "/notes", "/compare"),
        *("/chip/TQZ5752/13?dc=3.1+V", "/chip/MDQ3724/fault-finding", "/chip/TQZ5752.json"),
        *("/demo/pin", "/demo/chip.csv"),
    ):
        assert (await site.client.get(address)).status_code == 200, address
    assert tried == []


@pytest.mark.parametrize("address", ["https://folios.example/shop/", "http://192.0.2.1/"])
def test_fetching_says_that_nobody_can_be_reached(
    bench: Path, tried: list[str], address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The addresses are reserved for examples: RFC 2606 and RFC 5737."""
    monkeypatch.setattr("pinfolio.loaders.publishing.fetching._PAUSE_S", 0.0)
    result = run_pinfolio(f"fetch-folio {address} -o fetched.db")
    assert result.exit_code == 2
    assert f"Error: {address}: " in result.output
    assert "network is unreachable" in result.output
    assert not list(bench.glob("*.db"))
    assert tried


def test_an_oscilloscope_that_cannot_be_reached_is_named(
    bench: Path, tried: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the library in Python, whose attempts are noted; not with another one installed."""
    monkeypatch.setenv("PYVISA_LIBRARY", "@py")
    result = run_pinfolio("capture TQZ5752 22 --from TCPIP::192.0.2.1::INSTR")
    assert result.exit_code == 2
    assert "Error: TCPIP::192.0.2.1::INSTR: cannot connect: " in result.output
    assert tried
