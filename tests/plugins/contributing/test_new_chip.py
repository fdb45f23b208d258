"""``pinfolio new``: a file with nothing wrong but its blanks, each explained where it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.canonical_text import format_chip_file
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.chip_files.part_name import PartError
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.plugins.contributing.lint import lint_file
from pinfolio.plugins.contributing.new_chip import NotAChip, begin_chip_file, read_package
from pinfolio.plugins.terminal.cli import main


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["new", *arguments])


@pytest.mark.parametrize("package", ["SDIP-42", "QFP-48", "SIP-9", "ZIP-15"])
def test_blanks_are_all_that_is_wrong_and_each_is_explained(package: str, tmp_path: Path) -> None:
    path = tmp_path / "new.yaml"
    path.write_text(begin_chip_file("QZ5710", package, "jungle"), encoding="utf-8")
    notes = lint_file(path).notes
    lines = path.read_text(encoding="utf-8").splitlines()
    assert {note.rule for note in notes} == {"blank"}
    assert {note.line for note in notes} == {
        number for number, line in enumerate(lines, 1) if ":  #? " in line
    }
    assert len(notes) == 6 + 3 * read_package(package).pins


def test_it_is_in_canonical_form_already() -> None:
    text = begin_chip_file("QZ5710", "SDIP-42")
    assert format_chip_file(text) == text


def test_filled_in_it_is_a_chip_and_the_explanations_go() -> None:
    text = begin_chip_file("QZ1", "SIP-2", "vertical output")
    answers = iter(["Tannhof Halbleiter", "Invented.", "VP", "[1]", "24 V ± 5 %", "QZ1 data",
                    "VP", "supply", "supply", "GND", "ground", "ground"])  # fmt: skip
    filled = [
        line.replace(":  #?", f": {next(answers)}  #?") if "#?" in line else line
        for line in text.splitlines()
        if not line.startswith("#")
    ]
    tidy = format_chip_file("\n".join(filled))
    assert "#?" not in tidy
    assert read_chip(tidy.encode(), "chip").part == "QZ1"


def test_part_and_kind_given_are_written_and_the_kind_else_blank() -> None:
    assert "\nkind: comb filter\n" in begin_chip_file("QZ1", "SDIP-16", "comb filter")
    assert "\nkind:  #? one of: jungle, " in begin_chip_file("QZ1", "SDIP-16")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("QZ1", "SDAP-42", None), "write 'SDIP'"),
        (("QZ1", "SDIP-43", None), "a SDIP cannot have 43 pins; give a multiple of 2"),
        (("QZ1", "42", None), "is not a family and pins; write one such as 'SDIP-42'"),
        (("QZ1", "SDIP-42", "jungel"), "write 'jungle'"),
    ],
)
def test_words_that_do_not_fit_are_refused(
    arguments: tuple[str, str, str | None], told: str
) -> None:
    with pytest.raises(NotAChip) as refused:
        begin_chip_file(*arguments)
    assert told in str(refused.value)


@settings(deadline=None)
@given(st.text(min_size=1, max_size=80))
def test_whatever_part_is_taken_reads_back_as_it_was_given(part: str) -> None:
    try:
        text = begin_chip_file(part, "SIP-2")
    except PartError:
        return
    assert read_yaml(text.encode(), "chip").data["part"] == part.strip()


@pytest.mark.parametrize("part", ["../../QZ5710", "/etc/QZ5710", "..\\QZ5710", "QZ/57:10"])
def test_a_part_like_a_path_stays_in_the_folder(part: str, tmp_path: Path) -> None:
    folder = tmp_path / "chips"
    folder.mkdir()
    assert run(part, "--package", "SDIP-42", "-o", str(folder)).exit_code == 0
    (written,) = tmp_path.rglob("*.yaml")
    assert written.parent == folder
    assert read_yaml(written.read_bytes(), "chip").data["part"] == part


@pytest.mark.parametrize("part", ["..", "../..", "/", "QZ\x1b[2J1"])
def test_what_is_no_part_is_refused_and_nothing_is_written(part: str, tmp_path: Path) -> None:
    refused = run(part, "--package", "SDIP-42", "-o", str(tmp_path))
    assert refused.exit_code == 2
    assert "is not a part number" in refused.stderr
    assert "\x1b" not in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "qz1.yaml"
    path.write_text("mine", encoding="utf-8")
    for out in (path, tmp_path):
        refused = run("QZ1", "--package", "SIP-9", "-o", str(out))
        assert refused.exit_code == 2
        assert "exists already" in refused.output
    assert path.read_text(encoding="utf-8") == "mine"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_is_made(tmp_path: Path) -> None:
    chips = tmp_path / "my" / "chips"
    assert run("QZ1", "--package", "SIP-9", "-o", f"{chips}/").exit_code == 0
    assert [path.name for path in chips.iterdir()] == ["qz1.yaml"]


def test_a_file_of_another_kind_is_not_written(tmp_path: Path) -> None:
    refused = run("QZ1", "--package", "SIP-9", "-o", str(tmp_path / "qz1.txt"))
    assert refused.exit_code == 2
    assert "qz1.txt: is neither a folder nor a .yaml file" in refused.stderr
    assert list(tmp_path.iterdir()) == []


def test_without_a_file_it_is_printed() -> None:
    assert run("QZ1", "--package", "sip 9").output == begin_chip_file("QZ1", "SIP-9")


def test_a_folder_that_is_not_there_is_one_clear_error(tmp_path: Path) -> None:
    refused = run("QZ1", "--package", "SIP-9", "-o", str(tmp_path / "no" / "qz1.yaml"))
    assert refused.exit_code == 2
    assert "cannot be written (No such file or directory)" in refused.output
