"""A job kept in a text file: resumed, taken back, never half-written, errors by line."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.answers.job_file import (
    JobFile,
    JobFileError,
    begin_job,
    keep_job,
    read_job,
)
from pinfolio.plugins.terminal.cli import main

MONITOR = load_chip(next(path for path in chip_files() if path.stem == "mdq3724"))
NO_GREEN = ("--symptom", "no green")
Hunt = Callable[..., Result]


@pytest.fixture
def hunt(demo_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Hunt:
    """``pinfolio faultfind MDQ3724 --interactive --job FILE``, with lines typed."""
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    kept = ("--interactive", "--job", str(tmp_path / "green.job"))

    def run(*typed: str, given: tuple[str, ...] = ()) -> Result:
        lines = "".join(f"{line}\n" for line in typed)
        return CliRunner().invoke(main, ["faultfind", "MDQ3724", *kept, *given], input=lines)

    return run


def write_job(tmp_path: Path) -> str:
    return (tmp_path / "green.job").read_text(encoding="utf-8")


def test_each_reading_is_a_line_of_the_file(hunt: Hunt, tmp_path: Path) -> None:
    told = hunt("2 vpp=0.01Vpp", "socket-a-green vpp=0.7Vpp", "", given=NO_GREEN)
    assert told.exit_code == 0, told.output
    assert write_job(tmp_path) == (
        "part: MDQ3724\n"
        "condition: colour bars\n"
        "symptom: no green\n"
        "reading: 2 vpp=0.01Vpp\n"
        "reading: socket-a-green vpp=0.7Vpp\n"
    )


def test_the_next_run_goes_on_where_the_last_was_interrupted(hunt: Hunt, tmp_path: Path) -> None:
    interrupted = hunt("2 vpp=0.01Vpp", given=NO_GREEN)  # the input ends, as with Ctrl-D
    assert interrupted.exit_code == 1
    told = hunt("socket-a-green vpp=0.7Vpp", "")
    begun, asked, gone_on = told.stdout.partition("green of socket A, after the cable: socket")
    assert asked
    assert "MDQ3724, colour bars: no green" in begun
    assert "pin 2 G A: missing" in begun
    assert "green of socket A, after the cable: as expected" not in begun
    assert "green of socket A, after the cable: as expected" in gone_on
    assert re.search(r"^ [3-8]\d +C302, 104J capacitor: open", gone_on, re.MULTILINE)
    assert write_job(tmp_path).count("reading:") == 2


def test_undo_takes_back_what_an_earlier_run_took(hunt: Hunt, tmp_path: Path) -> None:
    hunt("2 vpp=0.01Vpp", "4 vpp=0.7Vpp", "", given=NO_GREEN)
    assert hunt("undo", "undo", "undo", "").stderr.endswith("There is no reading to take back.\n")
    assert write_job(tmp_path).splitlines()[-1] == "symptom: no green"


def test_the_same_command_again_says_nothing_twice(hunt: Hunt, tmp_path: Path) -> None:
    for _ in range(2):
        hunt("", given=(*NO_GREEN, "--reading", "2  vpp=0.01Vpp"))
    assert write_job(tmp_path).splitlines()[2:] == ["symptom: no green", "reading: 2 vpp=0.01Vpp"]


def test_what_is_not_taken_is_not_written(hunt: Hunt, tmp_path: Path) -> None:
    told = hunt("2 flooby", "99 dc=1V", "", given=NO_GREEN)
    assert told.stderr.count("Not taken:") == 2
    assert "reading:" not in write_job(tmp_path)


def test_remarks_in_the_file_stay(hunt: Hunt, tmp_path: Path) -> None:
    path = tmp_path / "green.job"
    path.write_text("# Mrs N., monitor\npart: MDQ3724\n\nsymptom: no green\n", encoding="utf-8")
    hunt("2 vpp=0.01Vpp", "undo", "4 vpp=0.7Vpp", "")
    assert write_job(tmp_path).splitlines() == [
        "# Mrs N., monitor",
        "part: MDQ3724",
        "",
        "symptom: no green",
        "reading: 4 vpp=0.7Vpp",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "1:1: no part: expected a line that names it; write 'part: MDQ3724'"),
        ("part: TQZ5752\n", "1:1: part 'TQZ5752': expected MDQ3724, which is asked about"),
        ("part: MDQ3724\npart: MDQ3724\n", "2:1: a second part: expected one line 'part:'"),
        ("part: MDQ3724\n\nreadnig: 2 dc=1V\n", "3:1: 'readnig: 2 dc=1V': expected"),
        ("part: MDQ3724\nreadnig: 2 dc=1V\n", "write 'reading:'"),
        ("part: MDQ3724\n2 dc=1V\n", "2:1: '2 dc=1V': expected a line that starts with"),
        (
            "part: MDQ3724\nreading: 2 flooby\n",
            "2:1: '2 flooby': expected a place",
        ),
        ("part: MDQ3724\nreading: 2 dc=much\n", "2:1: dc"),
        ("part: MDQ3724\nreading: 99 dc=1V\n", "2:1: no pin '99'"),
        ("part: MDQ3724\nsymptom: no gren\n", "2:1: symptom 'no gren': expected one of"),
        ("part: MDQ3724\nsymptom: no gren\n", "write 'symptom: no green'"),
        ("part: MDQ3724\ncondition: color bars\n", "write 'condition: colour bars'"),
    ],
)
def test_a_fault_is_told_with_its_line_and_the_file_stays(
    hunt: Hunt, tmp_path: Path, text: str, told: str
) -> None:
    path = tmp_path / "green.job"
    path.write_text(text, encoding="utf-8")
    answer = hunt("2 vpp=0.01Vpp", "")
    assert answer.exit_code == 2
    assert told in answer.stderr
    assert path.read_text(encoding="utf-8") == text


def test_every_fault_of_a_file_is_told_at_once() -> None:
    with pytest.raises(JobFileError) as refused:
        read_job(b"part: MDQ3724\nreading: x\nsymptom: y\n", "a.job", MONITOR)
    assert [fault.line for fault in refused.value.faults] == [2, 3]


@pytest.mark.parametrize("data", [b"\xff\xfe", b"part: MDQ3724\n#" + b"x" * 1_000_000])
def test_what_is_no_short_text_is_refused(data: bytes) -> None:
    with pytest.raises(JobFileError, match=r"a\.job:1:1: .*: expected"):
        read_job(data, "a.job", MONITOR)


def test_a_failed_write_leaves_the_file_as_it_was(
    hunt: Hunt, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hunt("2 vpp=0.01Vpp", "", given=NO_GREEN)
    before = write_job(tmp_path)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    told = hunt("4 vpp=0.7Vpp", "")
    assert told.exit_code == 2
    assert "cannot be written (No space left on device)" in told.stderr
    assert write_job(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == ["green.job"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--job", "x.job"), "--job goes with --interactive"),
        (("--interactive", "--job", "x.job", "--readings", __file__), "give each as --reading"),
        (("--interactive", "--job", "no-such-folder/x.job"), "cannot be written"),
    ],
)
def test_options_that_do_not_go_together(
    run: Callable[..., Result], options: tuple[str, ...], said: str
) -> None:
    told = run("faultfind", "MDQ3724", *options)
    assert told.exit_code == 2
    assert said in told.stderr


def test_another_condition_than_the_file_says_is_refused(hunt: Hunt) -> None:
    hunt("", given=NO_GREEN)
    told = hunt("", given=("--condition", "no signal"))
    assert told.exit_code == 2
    assert "was read in the condition colour bars" in told.stderr


_LINES = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=30)


@given(_LINES.map(lambda text: " ".join(text.split())).filter(bool))
def test_a_reading_is_one_line_whatever_is_typed_and_undo_is_its_inverse(text: str) -> None:
    begun = begin_job(MONITOR, "colour bars")
    job = begun.add_reading(text)
    assert len(job.text.split("\n")) == len(begun.text.split("\n")) + 1
    assert job.readings == (text,)
    assert job.drop_last_reading() == begun


def test_written_and_read_it_is_the_same_job(tmp_path: Path) -> None:
    job = begin_job(MONITOR, "colour bars").add_lines("symptom", ["no green"])
    job = job.add_reading("2 vpp=0.01Vpp").add_reading("R OUT dc=3V seen=hum")
    keep_job(job, tmp_path / "a.job")
    read = read_job((tmp_path / "a.job").read_bytes(), "a.job", MONITOR)
    assert read == job
    assert isinstance(read, JobFile)
    assert (read.condition, read.symptoms) == ("colour bars", ("no green",))
