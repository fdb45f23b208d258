"""Mutation run: small faults planted in the code, and the share of them that the tests notice.

Run by hand, since it takes minutes: ``pytest tests/benchmarks/bench_mutants.py -s``. Each mutant
changes one token of one module in a scratch copy of the tree; then the nearest tests run there:
those of the room's folder, and the published checks that import it. A mutant is killed when a
test fails or uses up its time; one that every test lets pass survives, and is printed as a diff.
PINFOLIO_MUTANTS is the number of mutants in each room (10), PINFOLIO_MUTANT_SEED chooses them (1),
PINFOLIO_MUTANT_ROOMS names the rooms (all of them), PINFOLIO_MUTANT_TIMEOUT_S is the time of a run
of tests beyond three times its usual time, in seconds of processor (30).
"""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Final

import pytest
from mutation.equivalent import EQUIVALENT
from mutation.mutants import Mutant, list_mutants
from mutation.runs import Scratch

ROOT: Final = Path(__file__).parents[2]
NUMBER: Final = int(os.environ.get("PINFOLIO_MUTANTS", "10"))
SEED: Final = int(os.environ.get("PINFOLIO_MUTANT_SEED", "1"))
TIMEOUT_S: Final = float(os.environ.get("PINFOLIO_MUTANT_TIMEOUT_S", "30"))

# Code of each room, and the tests of its folder.
ROOMS: Final[dict[str, tuple[str, tuple[str, ...]]]] = {
    "schema/waveforms": ("schema/waveforms/**/*.py", ("tests/schema/waveforms/test_*.py",)),
    "schema/measuring": ("schema/measuring/*.py", ("tests/schema/measuring/test_*.py",)),
    "plugins/readings": ("plugins/readings/*.py", ("tests/plugins/readings/test_*.py",)),
    "plugins/instruments": ("plugins/instruments/*.py", ("tests/plugins/instruments/test_*.py",)),
    "loaders/shop/merging": (
        "loaders/shop/merging.py",
        ("tests/loaders/shop/test_merging*.py", "tests/plugins/notes/test_*.py"),
    ),
    "plugins/search": ("plugins/search/*.py", ("tests/plugins/search/test_*.py",)),
    "plugins/cards": ("plugins/cards/*.py", ("tests/plugins/cards/test_*.py",)),
    "plugins/diagnosis": (
        "plugins/diagnosis/**/*.py",
        ("tests/plugins/diagnosis/**/test_*.py",),
    ),
}
CHOSEN_ROOMS: Final = os.environ.get("PINFOLIO_MUTANT_ROOMS", " ".join(ROOMS)).split()


def list_modules(room: str, root: Path) -> list[str]:
    """Return the modules of a room below ``root``, as paths from there."""
    pattern, _ = ROOMS[room]
    return sorted(path.relative_to(root).as_posix() for path in root.glob(pattern))


def list_tests(room: str, root: Path) -> list[str]:
    """Return the nearest tests of a room below ``root``, as paths from there."""
    _, patterns = ROOMS[room]
    tests = {path for pattern in patterns for path in root.glob(pattern)}
    imported = f"pinfolio.{room.replace('/', '.')}"
    published = (root / "tests" / "published").glob("test_*.py")
    tests |= {test for test in published if imported in test.read_text(encoding="utf-8")}
    return sorted(path.relative_to(root).as_posix() for path in tests)


def sample_mutants(room: str, root: Path) -> list[Mutant]:
    """Return NUMBER mutants of a room, the same for the same seed and the same code."""
    mutants = [mutant for name in list_modules(room, root) for mutant in list_mutants(root, name)]
    mutants = [mutant for mutant in mutants if mutant.key not in EQUIVALENT]
    return random.Random(f"{SEED} {room}").sample(mutants, min(NUMBER, len(mutants)))


@pytest.fixture(scope="module", autouse=True)
def _process_to_copy() -> None:
    """Start no process that has imported the package: mutants run in copies of the scratch one."""


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Scratch:
    return Scratch(ROOT, tmp_path_factory.mktemp("mutants"), TIMEOUT_S)


def test_each_equivalent_mutant_is_still_one() -> None:
    modules = sorted({key.partition(": ")[0] for key in EQUIVALENT})
    made = {mutant.key for name in modules for mutant in list_mutants(ROOT, name)}
    assert set(EQUIVALENT) <= made


@pytest.mark.parametrize("room", CHOSEN_ROOMS)
def test_mutants(room: str, scratch: Scratch, capsys: pytest.CaptureFixture[str]) -> None:
    mutants = sample_mutants(room, scratch.tree)
    trace = scratch.trace(list_tests(room, scratch.tree), list_modules(room, scratch.tree))
    assert any(trace.functions_of.values()), "the copy must be what is tested"
    killed = 0
    with capsys.disabled():
        for mutant in mutants:
            if scratch.survives(mutant, trace):
                print(f"\nsurvives: {mutant.key}\n{mutant.diff()}", flush=True)
            else:
                killed += 1
        print(f"\n{room}: {killed} of {len(mutants)} mutants killed ({killed / len(mutants):.0%})")
