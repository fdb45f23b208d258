"""A chip file is put in canonical form once, and only if asked."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.errors import ChipFileError
from pinfolio.plugins.contributing.formatting import format_file
from pinfolio.schema.rules import EXAMPLE_CHIP


@pytest.fixture
def chip(tmp_path: Path) -> Path:
    """A chip file with one key out of form."""
    path = tmp_path / "qz1000.yaml"
    path.write_text(EXAMPLE_CHIP.replace("kind: jungle", "kind:   jungle"), encoding="utf-8")
    return path


def test_a_file_is_rewritten_once(chip: Path) -> None:
    assert format_file(chip)
    assert "\nkind: jungle\n" in chip.read_text(encoding="utf-8")
    assert not format_file(chip)


def test_a_check_changes_nothing(chip: Path) -> None:
    before = chip.read_bytes()
    assert format_file(chip, only_check=True)
    assert chip.read_bytes() == before


def test_a_file_that_is_no_yaml_is_refused(chip: Path) -> None:
    chip.write_text("part: [", encoding="utf-8")
    with pytest.raises(ChipFileError):
        format_file(chip)
