"""``pinfolio figure``: its output can be pasted into a chip file unchanged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner, Result
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema import Expectation

PULSE = "µs V\n0 0.2\n12 0.2\n12 5\n64 5\n"
STAIRS = "µs V\n0 1\n9 1\n10 3\n20 3\n21 7\n40 7\n41 2\n64 1\n"


def run(*arguments: str, points: str = PULSE) -> Result:
    return CliRunner().invoke(main, ["figure", *arguments], input=points)


def paste_figure(output: str) -> Expectation:
    """The printed lines, under an expectation of a chip file, where values are text."""
    keys: dict[str, Any] = yaml.load(output, Loader=yaml.BaseLoader)
    return Expectation.model_validate(
        {"condition": "colour bars", "source": {"id": "sheet", "page": 7}, **keys}
    )


def test_a_known_kind_is_printed_with_how_well_it_fits() -> None:
    answer = run("-")
    assert answer.exit_code == 0
    assert "# Fits pulse: rms error below 0.1 % of the peak to peak, 5 % allowed." in answer.output
    expectation = paste_figure(answer.output)
    assert expectation.waveform is not None
    assert expectation.waveform.kind == "pulse"
    assert expectation.dc is not None
    assert expectation.dc.nominal == pytest.approx(expectation.waveform.mean_v, rel=0.01)


def test_a_shape_of_its_own_is_printed_as_a_polyline() -> None:
    answer = run("-", points=STAIRS)
    assert "# No known kind fits within 5 % rms" in answer.output
    expectation = paste_figure(answer.output)
    assert expectation.waveform is not None
    assert expectation.waveform.kind == "polyline"


def test_the_error_allowed_and_the_repeat_are_for_the_asker(tmp_path: Path) -> None:
    file = tmp_path / "points.txt"
    file.write_text(STAIRS, encoding="utf-8")
    assert "# Fits pulse" in run(str(file), "--within", "20%").output
    document = json.loads(run(str(file), "--repeat", "80 µs", "--json").output)
    assert document["fits"] is False
    assert document["waveform"]["repeat"] == "80 µs"
    assert document["periods"] == 0.8


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("-", "--within", "5"), "write '5 %'"),
        (("-", "--within", "0 %"), "above zero"),
        (("-", "--repeat", "64"), "write '64 s'"),
        (("-", "--repeat", "1 s"), "far from the 64 µs drawn"),
        (("/there/is/none.txt",), "does not exist"),
    ],
)
def test_wrong_input_gets_one_clear_error(arguments: tuple[str, ...], said: str) -> None:
    answer = run(*arguments)
    assert answer.exit_code == 2
    assert said in answer.output


def test_a_wrong_line_is_named() -> None:
    answer = run("-", points="µs V\n0 1\n1 x\n")
    assert answer.exit_code == 2
    assert "standard input:3:1: '1 x'" in answer.output
