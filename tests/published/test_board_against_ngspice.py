"""DC of the board model with every fault, against ngspice.

First with identical elements (resistors, sources, and each diode and transistor as the straight
piece it works on): 0.1 %. Then the pieces against ngspice's own diode and transistor models.
Source of the models: the ngspice manual, chapters on diodes and BJTs (Shockley, Gummel-Poon).
Without ngspice these tests are skipped; with PINFOLIO_REQUIRE_NGSPICE=1 its absence fails.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.board.devices import Diode, Transistor
from pinfolio.plugins.diagnosis.board.good_board import GROUND_JOINT_OHM, build_good_board
from pinfolio.plugins.diagnosis.board.hypotheses import Fault, list_faults
from pinfolio.plugins.diagnosis.board.network import LEAK_SIEMENS
from pinfolio.plugins.diagnosis.board.operating_point import Boards
from pinfolio.plugins.diagnosis.board.severities import Draws
from pinfolio.plugins.diagnosis.board.topology import Topology

RELATIVE, ABSOLUTE_V = 1e-3, 1e-4
NEAR_SHARE, NEAR_V = 0.06, 0.25  # straight pieces against curves
AGREEING = 0.93  # of all points of all faults: the rest sits at the edge of a device's turning on
FILES = [path for path in chip_files() if path.stem in ("mdq3724", "ogx1524", "tqz5710", "kye4728")]


@pytest.fixture
def ngspice() -> str:
    found = shutil.which("ngspice")
    if found is None:
        if os.environ.get("PINFOLIO_REQUIRE_NGSPICE") == "1":
            pytest.fail("no ngspice found, and PINFOLIO_REQUIRE_NGSPICE=1 asks for one")
        pytest.skip("no ngspice found; Debian's package is called ngspice")
    return found


def solve_boards(path: Path) -> Boards:
    """One board of every fault of a chip, in the condition that has the most to show."""
    chip = load_chip(path)
    condition = next(c.name for c in chip.conditions if "bars" in c.name)
    good = build_good_board(Topology(chip, condition), Draws(1, seed=5))
    boards = Boards(good, list_faults(good))
    boards.solve_dc()
    return boards


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_fault_with_identical_elements(ngspice: str, path: Path, tmp_path: Path) -> None:
    boards = solve_boards(path)
    ours = boards.volts[:, : boards.nodes]
    theirs = simulate(ngspice, tmp_path, boards, with_models=False)
    np.testing.assert_allclose(ours, theirs, rtol=RELATIVE, atol=ABSOLUTE_V)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_straight_pieces_against_curved_models(ngspice: str, path: Path, tmp_path: Path) -> None:
    boards = solve_boards(path)
    ours = boards.volts[:, : boards.nodes]
    theirs = simulate(ngspice, tmp_path, boards, with_models=True)
    near = np.abs(ours - theirs) <= NEAR_V + NEAR_SHARE * np.abs(theirs)
    assert near.mean() > AGREEING


def simulate(ngspice: str, folder: Path, boards: Boards, with_models: bool) -> np.ndarray:
    """Volts of every node of every board, each board a netlist of its own in one deck."""
    volts = np.empty((boards.count, boards.nodes))
    deck, raw = folder / "boards.cir", folder / "boards.raw"
    for number, fault in enumerate(boards.faults):
        lines = [*write_fault_lines(boards, number, fault, with_models)]
        models = [".model dd d(is=1e-14 rs=8)", ".model dc d(is=1e-14 rs=40)",
                  ".model qn npn(bf=120 is=1e-14)", ".model qp pnp(bf=120 is=1e-14)"]  # fmt: skip
        options = ".options gmin=1e-12 itl1=2000"
        deck.write_text("\n".join(["* board", *models, *lines, options, ".op", ".end\n"]))
        subprocess.run(
            [ngspice, "-b", str(deck), "-r", str(raw)], capture_output=True, timeout=120, check=True
        )
        found = read_raw(raw.read_bytes())
        volts[number] = [found[f"v({node})"] for node in range(1, boards.nodes + 1)]
    return volts


def write_fault_lines(
    boards: Boards, number: int, fault: Fault, with_models: bool
) -> Iterator[str]:
    """The board of a fault in SPICE's words; node 0 is ground, the others count from 1."""
    good, ground = boards.good, boards.nodes

    def node(at: int) -> int:
        return 0 if at == ground else at + 1

    for at in range(boards.nodes):
        yield f"Rleak{at} {node(at)} 0 {1 / LEAK_SIEMENS!r}"
    elements = [fault.replaced.get(at, e) for at, e in enumerate(good.elements)]
    for at, element in enumerate((*elements, *fault.added)):
        siemens = float(element.compute_siemens(0.0).real[0])
        first, second = (node(boards.index[end]) for end in element.ends)
        if siemens > 0 and first != second:
            yield f"Re{at} {first} {second} {1 / siemens!r}"
    for at, ((one, other), siemens) in enumerate(zip(good.joints, good.joint_siemens, strict=True)):
        ohm = 1 / float(siemens[0])
        if other == "ground" and one in fault.ground_ohm:
            ohm = float(fault.ground_ohm[one][0])
            assert ohm > GROUND_JOINT_OHM
        yield f"Rj{at} {node(boards.index[one])} {node(boards.index[other])} {ohm!r}"
    for at, source in enumerate(good.sources):
        siemens = float(boards.siemens[number, at])
        if siemens == 0:
            continue
        here, back = (node(boards.index[end]) for end in (source.at, source.returns_to))
        emf = float(boards.emf_v[number, at] * boards.emf_share[number, at])
        yield f"Rs{at} {here} s{at} {1 / siemens!r}"
        yield f"Vs{at} s{at} {back} dc {emf!r}"
    for at, device in enumerate(good.devices):
        is_off = boards.has_switched_off(number, at)
        if with_models and isinstance(device, Diode | Transistor) and not is_off:
            yield from model_lines(f"{at}", device, node)
        else:
            state = int(boards.states[number, at])
            for step, (out, siemens, amperes, sense) in enumerate(device.list_terms(state)):
                ends = f"{node(out[0])} {node(out[1])}"
                of = sense or out
                gain = float(np.ravel(siemens)[0])
                yield f"G{at}_{step} {ends} {node(of[0])} {node(of[1])} {gain!r}"
                yield f"I{at}_{step} {ends} dc {float(np.ravel(amperes)[0])!r}"


def model_lines(tag: str, device: Diode | Transistor, node) -> Iterator[str]:  # type: ignore[no-untyped-def]
    """A device by ngspice's own model; a load keeps its straight piece behind an ideal junction."""
    if isinstance(device, Transistor):
        ends = (device.collector, device.base, device.emitter)
        model = "qn" if device.sign > 0 else "qp"
        yield f"Q{tag} {' '.join(str(node(end)) for end in ends)} {model}"
    elif device.ref.startswith("load"):
        ohm, drop = float(np.ravel(device.ohm)[0]), float(device.drop_v)
        yield f"Rl{tag} {node(device.anode)} l{tag} {ohm!r}"
        yield f"Bl{tag} l{tag} {node(device.cathode)} v = {drop!r}"
        yield f"Dl{tag} {node(device.cathode)} {node(device.anode)} dc"
    else:
        model = "dc" if device.ref.startswith(("foot", "head")) else "dd"
        yield f"D{tag} {node(device.anode)} {node(device.cathode)} {model}"
        if np.isfinite(device.zener_v):
            yield f"Vz{tag} {node(device.cathode)} z{tag} dc {device.zener_v!r}"
            yield f"Dz{tag} z{tag} {node(device.anode)} dd"


def read_raw(data: bytes) -> dict[str, float]:
    """The one point of ngspice's raw file, by name."""
    header, _, body = data.partition(b"Binary:\n")
    lines = header.decode().splitlines()
    names = [line.split()[1] for line in lines[lines.index("Variables:") + 1 :]]
    return dict(zip(names, np.frombuffer(body, count=len(names)).tolist(), strict=True))
