"""A disk that is full or fails at a write of any command: said plainly, and nothing is half there.

Each command is run once to count the steps that write a file, then once for each of a sample of
them, which fails with ENOSPC or EIO (POSIX.1-2017, <errno.h>). Every file must then be as before,
or as the command leaves it; and the same command must succeed afterwards.
"""

from __future__ import annotations

import errno
import io
import os
import shlex
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.shop.note_files import load_all_notes
from pinfolio.loaders.shop.shop_folder import open_shop
from pinfolio.plugins.terminal.cli import main

STEPS = {"fsync", "rename", "replace", "link", "mkdir"}
"""Functions of the operating system that change the disk; writes to files come on top."""
MOST_STEPS = 4
"""Steps of a command that fail in turn: the first, the last, and some between."""
SLOW = {"publish", "backup", "format"}
"""Commands of which only the first and the last step fail: pages, and a hash slow on purpose."""

COMMANDS = {
    "init": "shop init new --handle bench-c",
    "add": "note add TQZ5752 13 --kind remark --text Warm. --yes",
    "edit": "note edit {note} --text Cold. --yes",
    "withdraw": "note withdraw {note} --yes",
    "take": "note take made.note.yaml --yes",
    "import": "note import book.csv --rejects rejects.csv --yes",
    "export": "note export -o notes.csv",
    "share": "share -o ours.bundle --yes",
    "merge": "merge theirs.bundle --accept-new --yes",
    "trust": "shops trust bench-b --yes",
    "backup": "shop key backup key.backup --passphrase-file words",
    "rotate": "shop key rotate --yes",
    "mend": "shop mend",
    "build": "build chips bench -o built.db",
    "publish": "publish small.db -o public",
    "fetch": "fetch-folio published -o fetched.db",
    "pool": "pool-readings -o readings.parquet",
    "draft": "draft table.csv -o drafted",
    "new": "new QZ5710 --package SDIP-42 -o qz5710.yaml",
    "format": "format chips/loose.yaml",
    "picture": "pin TQZ5752 13 --svg pin.svg",
}
HEAD = "file_format: pinfolio note 1\nkind: remark\nchip: TQZ5752\ntext: Warm.\n"
BOOK = "Chip,Pin,Text\nTQZ5752,13,Warm.\nTQZ5752,14,Cold.\nTQZ5752,99,Nowhere.\n"
TABLE = "Pin,Symbol,Function\n1,IN,input\n2,OUT,output\n3,GND,ground\n4,VCC,supply\n"


def run(line: str) -> Result:
    return CliRunner().invoke(main, shlex.split(line))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which each command has something to do, and what the system remembers."""
    folder = tmp_path_factory.mktemp("bench")
    with pytest.MonkeyPatch.context() as patch:
        settle(patch, folder)
        (folder / "chips").mkdir()
        paths = [path for path in chip_files() if path.stem in ("kye2620", "tqz5752")]
        for path in paths:
            shutil.copy(path, folder / "chips")
        (folder / "chips" / "loose.yaml").write_text(
            paths[0].read_text(encoding="utf-8").replace("part: ", "part:   "), encoding="utf-8"
        )
        (folder / "chips" / "loose.yaml").rename(folder / "loose.yaml")
        build_folio(paths, folder / "folio.db")
        build_folio([min(paths, key=lambda path: path.stat().st_size)], folder / "small.db")
        (folder / "made.note.yaml").write_text(f"{HEAD}at: pin 1\n")
        (folder / "book.csv").write_text(BOOK)
        (folder / "table.csv").write_text(TABLE)
        (folder / "words").write_text("a solder joint in May\n")
        run("shop init bench --handle bench-a")
        run("note add TQZ5752 17 --kind caution --text Live. --yes")
        run("shop init other --handle bench-b")
        run("note add TQZ5752 17 --kind remark --text Theirs. --yes --shop other")
        run("share -o theirs.bundle --yes --shop other")
        run("share -o first.bundle --yes --shop other")
        run("publish small.db -o published")
    return folder


def settle(patch: pytest.MonkeyPatch, folder: Path) -> None:
    """Work in a folder as a user whose state is in there too."""
    for name in ("STATE", "DATA", "CACHE", "CONFIG"):
        patch.setenv(f"XDG_{name}_HOME", str(folder / "home"))
    patch.setenv("PINFOLIO_FOLIO", str(folder / "folio.db"))
    patch.setenv("PINFOLIO_SHOP", str(folder / "bench"))
    patch.chdir(folder)


def fail_at(job: Callable[[], Result], number: int, reason: int) -> tuple[Result, int]:
    """Run the job; its write of this number fails. The result, and how many writes were met."""
    met = 0

    def before_each_call(_: FrameType, event: str, called: Any) -> None:
        nonlocal met
        if event == "c_call" and is_write(called):
            met += 1
            if met == number:
                raise OSError(reason, os.strerror(reason))  # which also ends the watching

    sys.setprofile(before_each_call)
    try:
        return job(), met
    finally:
        sys.setprofile(None)


def is_write(called: Any) -> bool:
    """Return whether a function in C changes the disk."""
    name = getattr(called, "__qualname__", "")
    if name.endswith(".write"):
        stream = called.__self__
        stream = getattr(stream, "buffer", stream)
        return isinstance(getattr(stream, "raw", stream), io.FileIO) and stream.fileno() > 2
    return name in STEPS and getattr(called, "__module__", "") == "posix"


def read_files(folder: Path) -> dict[str, bytes]:
    """Every file but those that a later run clears away: hidden ones that are not yet named."""
    files = (path for path in folder.rglob("*") if path.is_file())
    named = (path for path in files if not is_leftover(path.relative_to(folder)))
    return {str(path.relative_to(folder)): path.read_bytes() for path in named}


def is_leftover(path: Path) -> bool:
    return path.name.endswith((".new", ".lock")) or any(
        part.startswith((".merging-", ".merged")) for part in path.parts
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_every_write_of_a_command_may_fail(
    bench: Path, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def start_anew(number: int) -> Path:
        folder = tmp_path / str(number)
        shutil.copytree(bench, folder)
        settle(monkeypatch, folder)
        if name == "trust":
            run("merge first.bundle --accept-new --yes")
        if name == "format":
            shutil.copy("loose.yaml", "chips/loose.yaml")
        return folder

    note = next((bench / "bench" / "notes").glob("*.yaml")).stem.partition("-")[0]
    line = COMMANDS[name].format(note=note)
    folder = start_anew(0)
    before = read_files(folder)
    whole, steps = fail_at(lambda: run(line), 0, errno.EIO)
    expected_status = whole.exit_code
    assert expected_status in (0, 1), whole.output
    if name != "mend":  # which has nothing to write
        assert steps > 0
    failures = 0
    most = 2 if name in SLOW else MOST_STEPS
    numbers = {round(1 + place * (steps - 1) / (most - 1)) for place in range(most)}
    for number in sorted(numbers) if steps else ():
        reason = (errno.ENOSPC, errno.EIO)[number % 2]
        folder = start_anew(number)
        failed, _ = fail_at(lambda: run(line), number, reason)
        require_plain(failed, line)
        if failed.exit_code not in (0, expected_status) or failed.exit_code == 2:
            assert os.strerror(reason).lower() in failed.output.lower(), f"{line}: {failed.output}"
            failures += 1
        now = read_files(folder)
        changed = {
            path
            for path, data in before.items()
            if now.get(path) != data and not path.startswith("home/")
        }
        written = {path for path in changed if path in now and is_written(path)}
        assert changed == written, f"{line}, write {number}: changed or lost"
        again = run(line)
        require_plain(again, line)
        assert again.exit_code in (expected_status, 1, 2), f"{line}: {again.output}"
        require_whole_shop(folder)
    assert failures or not steps


def is_written(path: str) -> bool:
    """Return whether a command may write a file that was there: the shop's, or the formatted."""
    return path.startswith("bench/") or path == "chips/loose.yaml"


def require_plain(result: Result, line: str) -> None:
    """The command ended by itself, with a message, not with a traceback."""
    assert result.exception is None or isinstance(result.exception, SystemExit), (
        f"{line}: {result.exception!r}\n{result.output}"
    )


def require_whole_shop(folder: Path) -> None:
    """The shop opens, its key signs, and none of its notes is set aside."""
    set_aside: list[Any] = []
    shop = open_shop(folder / "bench", to_change=True)
    shop.load_private_key()
    assert load_all_notes(shop, set_aside)
    assert set_aside == []
