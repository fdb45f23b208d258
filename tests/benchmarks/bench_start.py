"""How long ``pinfolio`` takes as a whole process, against a Python that does nothing.

It is installed from a wheel, as users have it, into an environment of its own, and into another as
those have it who work on it: there a finder of the build tool comes before everything. The
processes take turns, so that other load meets them all; medians are compared.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
import venv
from collections.abc import Callable
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.folio.build import build_folio

ROOT = Path(__file__).parents[2]
ROUNDS = int(os.environ.get("PINFOLIO_BENCHMARK_ROUNDS", "40"))
NOTHING = ["-c", "pass"]
QUESTIONS = {
    "find an exact part": (["find", "TQZ5752"], ROUNDS),
    "find words": (["find", "burst", "key"], ROUNDS // 5),
    "help": (["--help"], ROUNDS // 5),
    "pin card": (["pin", "TQZ5752", "13"], ROUNDS // 5),
    "chip sheet": (["chip", "TQZ5752"], ROUNDS // 5),
    "reading": (["check", "TQZ5752", "13", "--dc", "3.4 V"], ROUNDS // 5),
}


@pytest.fixture(scope="module")
def environments(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An environment with the wheel, and one with the package as its developers have it."""
    folder = tmp_path_factory.mktemp("start")
    copy = folder / "source"
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    for name in listed.stdout.splitlines():
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        (copy / name).write_bytes((ROOT / name).read_bytes())
    made = {}
    for how in ("wheel", "editable"):
        made[how] = place = folder / how
        venv.create(place, symlinks=True)
        build = f"from setuptools import build_meta; build_meta.build_{how}({str(place)!r})"
        subprocess.run([sys.executable, "-c", build], cwd=copy, check=True, capture_output=True)
        pip = [sys.executable, "-m", "pip", "--python", str(place / "bin" / "python"), "install"]
        (built,) = place.glob("*.whl")
        subprocess.run([*pip, "-q", "--no-deps", "--no-index", str(built)], check=True)
        (site,) = place.glob("lib/python*/site-packages")
        # What it needs is lent by this environment, of which no start-up file runs then.
        (site / "lent.pth").write_text(f"{Path(pytest.__file__).parents[1]}\n")
    return made


@pytest.mark.parametrize("how", ["wheel", "editable"])
@pytest.mark.parametrize("question", QUESTIONS)
def test_start(
    how: str,
    question: str,
    environments: dict[str, Path],
    tmp_path: Path,
    report: Callable[..., None],
) -> None:
    words, rounds = QUESTIONS[question]
    folio = tmp_path / "folio.db"
    build_folio([*chip_files(), *note_files()], folio)
    time.sleep(4.1)  # a file that was just written is not yet remembered as whole
    programs = environments[how] / "bin"
    ours, nothing = [str(programs / "pinfolio"), *words], [str(programs / "python"), *NOTHING]
    environment = {**os.environ, "PINFOLIO_FOLIO": str(folio)}
    taken: tuple[list[float], list[float]] = [], []
    for _ in range(rounds + 1):
        for command, times in zip((ours, nothing), taken, strict=True):
            start = time.perf_counter()
            subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
            times.append(time.perf_counter() - start)
    ours_s, nothing_s = (statistics.median(times[1:]) for times in taken)
    report(f"{question}, {how}", ours_s, nothing_s)
