"""How fast chip files are linted: two processes against one, on a thousand files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.plugins.contributing.lint import lint_files
from pinfolio.schema import Chip


def test_lint_with_two_processes(
    made_chips: Callable[[], Iterator[Chip]],
    tmp_path: Path,
    report: Callable[..., None],
    seconds: Callable[..., float],
) -> None:
    for chip in made_chips():
        (tmp_path / f"{chip.part}.yaml").write_text(chip_to_yaml(chip), encoding="utf-8")
    paths = sorted(tmp_path.iterdir())
    two_s = seconds(lambda: lint_files(paths, processes=2))
    one_s = seconds(lambda: lint_files(paths, processes=1))
    report("lint with two processes", two_s, one_s, files_per_second=len(paths) / two_s)
    assert [linted.part for linted in lint_files(paths[:9], processes=2).files] == [
        linted.part for linted in lint_files(paths[:9], processes=1).files
    ]
