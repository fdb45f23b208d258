"""An output replaces a file of its own kind, and no other: keys, chips and notes are safe.

Version 0.1 overwrote each of these files; a typed name completed wrongly by the shell was enough.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.schema.note import Note

Run = Callable[..., Result]

COMMANDS = {
    "share": ("share", "--yes", "-o"),
    "chip": ("chip", "TQZ5752", "--svg"),
    "pin": ("pin", "TQZ5752", "17", "--svg"),
    "pool-readings": ("pool-readings", "-o"),
}
CHIP = "file_format: pinfolio chip 1\npart: TQX1000\n"


@pytest.fixture
def valuables(shop: Shop, note: Callable[..., Note], tmp_path: Path) -> list[Path]:
    """The shop's key, its notes, and a chip file."""
    note("add", "TQZ5752", "17", "--kind", "remark", "--text", "Lift R702 to measure.")
    chip = tmp_path / "tqx1000.yaml"
    chip.write_text(CHIP)
    return [shop.folder / ".pinfolio-key", chip, *sorted(shop.notes.glob("*.yaml"))]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_file_of_another_kind_stays(command: str, run: Run, valuables: list[Path]) -> None:
    for path in valuables:
        before = path.read_bytes()
        result = run(*COMMANDS[command], path)
        assert result.exit_code == 2, result.output
        assert f"{path}: " in result.stderr
        assert "holds a file of another kind" in result.stderr
        assert path.read_bytes() == before


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.usefixtures("valuables")
def test_its_own_kind_is_replaced(command: str, run: Run, tmp_path: Path) -> None:
    out = tmp_path / "out"
    for _ in range(2):
        result = run(*COMMANDS[command], out)
        assert result.exit_code in (0, 1), result.output
        assert out.stat().st_size
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".out")] == []


def test_the_list_of_rejects_replaces_no_chip(run: Run, tmp_path: Path) -> None:
    bad, good = tmp_path / "chips" / "bad.yaml", tmp_path / "good.yaml"
    bad.parent.mkdir()
    bad.write_text(CHIP)
    shutil.copy(chip_files()[0], bad.parent)
    good.write_text(CHIP)
    refused = run("build", bad.parent, "-o", tmp_path / "f.db", "--keep-going", "--rejects", good)
    assert refused.exit_code == 2
    assert good.read_text() == CHIP
    listed = tmp_path / "rejects.txt"
    for _ in range(2):
        run(
            "build",
            bad.parent,
            "-o",
            tmp_path / "f.db",
            "--keep-going",
            "--rejects",
            listed,
        )
        assert listed.read_text().startswith(f"{bad}:")
