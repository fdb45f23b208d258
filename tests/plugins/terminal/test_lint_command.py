"""``pinfolio lint``, ``rules`` and ``format``: output, changed files, exit status."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.canonical_text import format_chip_file
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.system import parallel
from pinfolio.plugins.contributing import file_batches, lint
from pinfolio.plugins.contributing.completeness import measure_completeness
from pinfolio.plugins.contributing.lint import lint_file, lint_files
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema.rules import EXAMPLE_CHIP, RULE_BOOK, find_rule


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def chip(tmp_path: Path) -> Path:
    """A chip file without a fault, which the tests may spoil."""
    path = tmp_path / "qz1000.yaml"
    path.write_text(EXAMPLE_CHIP, encoding="utf-8")
    return path


def spoil(path: Path, *changes: tuple[str, str]) -> None:
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")


def linted(*arguments: str | Path) -> Any:
    return json.loads(run("lint", "--format", "json", *arguments).output)


class TestLint:
    def test_a_good_file_has_nothing_but_its_figure(self, chip: Path) -> None:
        answered = run("lint", chip)
        assert answered.exit_code == 0
        assert answered.output.startswith(f"{chip}: QZ1000 is ")
        assert "1 file: 0 faults, 0 advice" in answered.output

    def test_a_fault_has_place_rule_reason_and_fix_and_ends_with_1(self, chip: Path) -> None:
        spoil(chip, ("kind: jungle", "kind: jungel"))
        answered = run("lint", chip)
        assert answered.exit_code == 1
        first, title, why, fix, write, *_ = answered.output.splitlines()
        rule = find_rule("word-unknown")
        assert first.startswith(f"{chip}:3:7: fault word-unknown: 'jungel': expected one of")
        assert title == f"    rule: {rule.title}"
        assert why == f"    why: {rule.why}"
        assert fix == f"    fix: {rule.fix}"
        assert write == "    write: jungle"

    def test_advice_alone_ends_with_0(self, chip: Path) -> None:
        spoil(chip, ("dc: 0 V", "dc: 1 V"))
        answered = run("lint", chip)
        assert answered.exit_code == 0
        line = 2 + EXAMPLE_CHIP.splitlines().index("    symbol: GND") + 2
        assert f"{chip}:{line}:49: advice dc-for-role: ground pin " in answered.output

    def test_json_says_the_same(self, chip: Path) -> None:
        spoil(chip, ("dc: 4 V", "dc: 44 V"))
        (file,) = linted(chip)["files"]
        (finding,) = file["findings"]
        assert (file["part"], file["completeness"]) == (None, None)
        assert finding["kind"] == "fault"
        assert finding["rule"] == "dc-possible"
        assert finding["found"] == "DC of 44 V is outside 0 V to the supply's 8.4 V"
        assert finding["title"] == find_rule("dc-possible").title
        assert finding["why"] == find_rule("dc-possible").why
        assert finding["fix"] == find_rule("dc-possible").fix
        assert finding["safe"] is False

    def test_all_files_of_a_folder_are_looked_at(self, chip: Path) -> None:
        (chip.parent / "two.yml").write_text("part: [", encoding="utf-8")
        (chip.parent / "three.yaml").write_bytes(b"\xff\xfe")
        answer = linted(chip.parent)
        assert answer["faults"] == 2
        assert [len(file["findings"]) for file in answer["files"]] == [0, 1, 1]

    def test_what_is_not_there_is_wrong_input(self, tmp_path: Path) -> None:
        assert run("lint", tmp_path / "none.yaml").exit_code == 2
        assert run("lint", tmp_path).exit_code == 2

    def test_hostile_text_is_shown_not_obeyed(self, chip: Path) -> None:
        spoil(chip, ("kind: jungle", 'kind: "\\e[2J"'))
        assert "\x1b" not in run("lint", chip).output


class TestFix:
    def test_slips_with_one_reading_are_mended_and_nothing_else_moves(self, chip: Path) -> None:
        spoil(
            chip,
            ("kind: jungle", "kind: jungel   # what"),
            ("systems:", "sistems:"),
            ("voltage: 8 V ± 5 %", "voltage: '8,0 V'"),
            ("condition: colour bars, dc: 3 V", "condition: color bars, dc: 3 V"),
            ("inputs: [pin 3]", "inputs: [pin 3, amplifer]"),
        )
        chip.chmod(0o640)
        before = chip.read_text(encoding="utf-8")
        answer = linted("--fix", chip)
        assert answer["faults"] == 0
        assert answer["fixed"] == 5
        after = chip.read_text(encoding="utf-8")
        changed = {b: a for b, a in zip(before.splitlines(), after.splitlines(), strict=True)
                   if a != b}  # fmt: skip
        assert changed["kind: jungel   # what"] == "kind: jungle   # what"
        assert len(changed) == 5
        assert stat.S_IMODE(chip.stat().st_mode) == 0o640
        assert list(chip.parent.iterdir()) == [chip]

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            ("voltage: 8 V ± 5 %", "voltage: 8"),  # volts or millivolts?
            ("voltage: 8 V ± 5 %", "voltage: '1,234 V'"),  # one or a thousand?
            ("voltage: 8 V ± 5 %", "voltage: 8 Vpp"),  # or not a supply at all?
            ("dc: 4 V", "dc: 44 V"),
            ("symbol: OUT", "symbol: IN"),
            ("outputs: [pin 4]", "outputs: [pin 5]"),
            ("kind: jungle", "kind:"),
        ],
    )
    def test_what_has_two_readings_is_left(self, chip: Path, old: str, new: str) -> None:
        spoil(chip, (old, new))
        before = chip.read_bytes()
        assert linted("--fix", chip)["fixed"] == 0
        assert chip.read_bytes() == before

    def test_a_file_that_cannot_be_written_is_one_clear_error(
        self, chip: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        spoil(chip, ("kind: jungle", "kind: jungel"))

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(lint, "write_atomically", full)
        answered = run("lint", "--fix", chip)
        assert answered.exit_code == 2
        assert "cannot be written (No space left on device)" in answered.output


class TestManyFiles:
    def test_several_processes_find_what_one_does(self, monkeypatch: pytest.MonkeyPatch) -> None:
        files = chip_files()[:4]
        alone = lint_files(files)
        monkeypatch.setattr(file_batches, "MANY", 2)
        monkeypatch.setattr(parallel, "_FIRST_ITEMS", 1)  # the others go to the processes
        told: list[tuple[int, int]] = []
        assert lint_files(files, lambda done, of, what: told.append((done, of))) == alone
        assert told == [(n, len(alone.files)) for n in range(1, len(alone.files) + 1)]

    def test_a_symbol_that_the_others_agree_against(self, tmp_path: Path) -> None:
        symbols = {"QZ1000": "CVBS IN", "QZ1001": "CVBS-IN2", "QZ1002": "CVB5"}
        functions = {"QZ1001": "CVBS input", "QZ1002": "input of the composite video"}
        for part, symbol in symbols.items():
            path = tmp_path / f"{part}.yaml"
            path.write_text(EXAMPLE_CHIP, encoding="utf-8")
            function = functions.get(part, "composite video input")
            spoil(path, ("QZ1000", part), ("symbol: IN", f"symbol: {symbol}"),
                  ("composite video input", function))  # fmt: skip
        notes = [
            note for file in lint_files(sorted(tmp_path.iterdir())).files for note in file.notes
        ]
        assert [note.rule for note in notes] == ["symbol-unusual"]
        assert notes[0].found == "symbol CVB5 is unusual for 'input of the composite video'"
        assert notes[0].write == "CVBS IN"

    def test_one_part_in_two_files_is_one_chip(self, chip: Path) -> None:
        other = EXAMPLE_CHIP.replace("symbol: IN", "symbol: CVBS")
        chip.with_name("again.yaml").write_text(other, encoding="utf-8")
        assert not any(file.notes for file in lint_files(sorted(chip.parent.iterdir())).files)

    def test_two_chips_are_not_enough_to_call_a_symbol_unusual(self, tmp_path: Path) -> None:
        for part, symbol in {"QZ1000": "CVBS", "QZ1001": "VIDEO"}.items():
            path = tmp_path / f"{part}.yaml"
            path.write_text(EXAMPLE_CHIP, encoding="utf-8")
            spoil(path, ("QZ1000", part), ("symbol: IN", f"symbol: {symbol}"))
        assert not any(file.notes for file in lint_files(sorted(tmp_path.iterdir())).files)


class TestCompleteness:
    @pytest.mark.parametrize("path", chip_files(), ids=lambda path: path.stem)
    def test_a_demo_chip_is_nearly_complete(self, path: Path) -> None:
        assert 95 <= measure_completeness(load_chip(path)).percent <= 100

    def test_the_gaps_and_what_is_there_make_a_hundred(self, chip: Path) -> None:
        figure = lint_file(chip).completeness
        assert figure is not None
        total = figure.percent + sum(gap.raises_percent for gap in figure.gaps)
        assert total == pytest.approx(100, abs=0.5)
        raises = [gap.raises_percent for gap in figure.gaps]
        assert raises == sorted(raises, reverse=True)

    def test_closing_a_gap_raises_the_figure_by_what_was_said(self, chip: Path) -> None:
        before = lint_file(chip).completeness
        spoil(chip, ("blocks:", "hazards: [{kind: live chassis, caution: Beware.}]\nblocks:"))
        after = lint_file(chip).completeness
        assert before is not None
        assert after is not None
        gap = next(gap for gap in before.gaps if "hazards" in gap.what)
        assert after.percent - before.percent == pytest.approx(gap.raises_percent, abs=0.1)


class TestRules:
    def test_every_rule_is_explained_with_both_examples(self) -> None:
        printed = run("rules").output
        for rule in RULE_BOOK:
            assert f"\n{rule.name} (" in f"\n{printed}"
            assert rule.bad.splitlines()[0] in printed
            assert f"  {rule.title}\n  why: {rule.why}\n  fix: {rule.fix}\n" in printed

    def test_one_rule_by_name_and_as_json(self) -> None:
        (rule,) = json.loads(run("rules", "blank", "--format", "json").output)
        assert rule["kind"] == "fault"
        assert rule["good"] == "maker: Tannhof Halbleiter\n"

    def test_no_such_rule_is_a_no_with_the_nearest(self) -> None:
        answered = run("rules", "dc-posible")
        assert answered.exit_code == 1
        assert "did you mean 'dc-possible'?" in answered.output


class TestFormat:
    def test_a_file_is_put_in_form_once(self, chip: Path) -> None:
        spoil(chip, ("maker: Tannhof Halbleiter\nkind: jungle", "kind:   jungle\nmaker: 'Tannhof'"))
        assert f"{chip}: formatted" in run("format", chip).output
        assert chip.read_text(encoding="utf-8") == format_chip_file(chip.read_bytes())
        assert "1 file: 0 formatted" in run("format", chip).output

    def test_check_changes_nothing_and_says_no(self, chip: Path) -> None:
        spoil(chip, ("kind: jungle", "kind:   jungle"))
        before = chip.read_bytes()
        answered = run("format", "--check", chip)
        assert answered.exit_code == 1
        assert f"{chip}: would change" in answered.output
        assert chip.read_bytes() == before
        run("format", chip)
        assert run("format", "--check", chip).exit_code == 0

    def test_a_file_that_is_no_yaml_is_named_and_the_others_are_formatted(self, chip: Path) -> None:
        spoil(chip, ("kind: jungle", "kind:   jungle"))
        bad = chip.with_name("a.yaml")
        bad.write_text("part: [", encoding="utf-8")
        answered = run("format", chip.parent)
        assert answered.exit_code == 2
        assert f"Error: {bad}:2:1: " in answered.output
        assert bad.read_text(encoding="utf-8") == "part: ["
        assert "kind: jungle" in chip.read_text(encoding="utf-8")
