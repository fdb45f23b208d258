"""A capture's page as one file: the page that ``serve`` shows, without scripts, forms and links."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema.chips.lookup import find_pin


@pytest.fixture
def bars(tmp_path: Path) -> Path:
    """Colour bars as a good set shows them at the video output of TQZ5752."""
    chip = next(c for path in chip_files() if (c := load_chip(path)).part == "TQZ5752")
    expectation = find_pin(chip, "6").expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(0, 256e-6, 25e-9)
    volts = expectation.volts(t_s)
    rows = (f"{t:.9f},{v:.4f}" for t, v in zip(t_s, volts, strict=True))
    path = tmp_path / "bars.csv"
    path.write_text("\n".join(["time,volts", *rows]))
    return path


def test_figures_and_pictures_are_in_one_file(bars: Path, tmp_path: Path) -> None:
    page = tmp_path / "bars.html"
    arguments = ["check", "TQZ5752", "6", "--capture", str(bars), "--page", str(page)]
    answer = CliRunner().invoke(main, arguments)
    assert answer.exit_code == 0, answer.output
    html = page.read_text("utf-8")
    for picture in ("scope-bare", "scope-difference", "vector-picture", "spectrum-picture"):
        assert picture in html.partition("</style>")[2]
    assert "Burst amplitude" in html
    assert re.findall(r"<(?:script|form|link|a href=\"(?!#)|img)", html) == []
    assert "src=" not in html
    again = CliRunner().invoke(main, arguments)  # its own page it replaces
    assert again.exit_code == 0


def test_a_file_of_another_kind_is_not_replaced(bars: Path, tmp_path: Path) -> None:
    letter = tmp_path / "letter.html"
    letter.write_text("Dear customer")
    arguments = ["check", "TQZ5752", "6", "--capture", str(bars), "--page", str(letter)]
    answer = CliRunner().invoke(main, arguments)
    assert answer.exit_code == 2
    assert "holds a file of another kind" in answer.output
    assert letter.read_text() == "Dear customer"
