"""``pinfolio draft``: its output, the files it writes, and the inputs it refuses."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.drafting.draft_identity import Identity
from pinfolio.plugins.contributing.drafting import Drafted, Wanted, draft_files
from pinfolio.plugins.terminal.cli import main
from reportlab.pdfgen.canvas import Canvas

TABLE = (
    "Pin,Symbol,Function,DC no signal (V),Other\n1,VCC,supply,8.0,8.1\n2,IN,video input,3.1,3.3\n"
    "3,OUT,video output,2.9,3.0\n4,GND,ground,0,0\n"
)
KNOWN = ["--part", "QZ5710", "--maker", "Tannhof Halbleiter", "--kind", "jungle"]
KNOWN += ["--package", "DIP-4"]


def draft(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["draft", *map(str, arguments)])


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "qz5710.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


@pytest.fixture
def chips(tmp_path: Path) -> Path:
    folder = tmp_path / "chips"
    folder.mkdir()
    return folder


def make_pdf(pages: Sequence[Sequence[str]], **how: object) -> bytes:
    """A PDF with these lines, cells divided by a bar."""
    paper = io.BytesIO()
    canvas = Canvas(paper, **how)
    for lines in pages:
        for number, line in enumerate(lines):
            for x, cell in zip((40, 90, 160), line.split("|"), strict=False):
                canvas.drawString(x, 750 - 16 * number, cell)
        canvas.showPage()
    canvas.save()
    return paper.getvalue()


def test_a_draft_is_printed_and_what_was_not_read_goes_beside_it(table: Path) -> None:
    result = draft(table, *KNOWN)
    assert result.exit_code == 0
    assert result.stdout.startswith("# Drafted from qz5710.csv")
    assert "source: {id: table, note: row 3}" in result.stdout
    assert result.stderr == "not read: 'Other': heading of column 5 not known\n"


def test_explain_shows_how_columns_were_told_and_column_overrules(table: Path) -> None:
    result = draft(table, *KNOWN, "--explain", "--column", "dc@colour bars=5")
    assert "column 4 'DC no signal (V)': dc @ no signal in V (by its heading)" in result.stderr
    assert "column 5 'Other': dc @ colour bars (as you said)" in result.stderr
    assert "not read" not in result.stderr
    assert "{condition: colour bars, dc: 3.3 V, source: {id: table, note: row 3}}" in result.stdout


def test_what_is_not_known_is_a_blank_with_what_to_write(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("Pin,Symbol,Function\n1,VCC,supply\n2,GND,ground\n", encoding="utf-8")
    drafted = draft(path).stdout
    for blank in ("part:  #? the part number", "family: , pins: 2}  #? such as SDIP or QFP",
                  "pins: [1], voltage: }  #? voltage of the supply"):  # fmt: skip
        assert blank in drafted
    assert drafted.count("#?") == 5


def test_a_draft_in_a_folder_is_named_for_the_part_and_is_a_chip_file(
    table: Path, chips: Path
) -> None:
    result = draft(table, *KNOWN, "-o", chips)
    assert result.exit_code == 0
    assert "4 pins, 0 blanks, 1 not read; next: pinfolio lint" in result.stdout
    chip = load_chip(chips / "qz5710.yaml")
    assert [pin.symbol for pin in chip.pins] == ["VCC", "IN", "OUT", "GND"]


def test_what_is_there_is_never_overwritten(table: Path, chips: Path) -> None:
    there = chips / "qz5710.yaml"
    there.write_text("mine", encoding="utf-8")
    for out in (chips, there):
        result = draft(table, *KNOWN, "-o", out)
        assert (result.exit_code, "exists already" in result.stderr) == (2, True)
    assert there.read_text(encoding="utf-8") == "mine"


def test_a_pdf_is_drafted_with_pages(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.pdf"
    sheet.write_bytes(
        make_pdf([["prose"], ["Pin|Symbol|Function", "1|VCC|supply", "2|GND|ground"]])
    )
    result = draft(sheet, "--part", "QZ1")
    assert result.exit_code == 0
    assert "- number: 2  # page 2, row 2" in result.stdout
    assert "id: sheet" in result.stdout


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("empty.pdf", b"", "an empty file"),
        ("cut.pdf", make_pdf([["Pin|Symbol|Function"]])[:300], "cut short"),
        ("locked.pdf", make_pdf([["Pin|Symbol"]], encrypt="secret"), "an encrypted PDF"),
        ("prose.pdf", make_pdf([["prose"]] * 500), "no table of pins on 100 pages"),
        ("empty.csv", b"", "an empty file"),
        ("book.xlsx", b"PK\x03\x04 and so on", "save it again, or as CSV"),
        ("names.csv", b"Name,Colour\nfirst,red\n", "no table of pins"),
    ],
)
def test_a_bad_file_is_one_error_and_leaves_nothing(
    tmp_path: Path, chips: Path, name: str, data: bytes, told: str
) -> None:
    (tmp_path / name).write_bytes(data)
    result = draft(tmp_path / name, *KNOWN, "-o", chips)
    assert (result.exit_code, result.stdout) == (2, "")
    assert told in result.stderr
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    assert list(chips.iterdir()) == []


def test_a_file_of_100_mb_is_not_even_read(tmp_path: Path, chips: Path) -> None:
    large = tmp_path / "large.pdf"
    with large.open("wb") as opened:
        opened.truncate(100_000_000)
    result = draft(large, *KNOWN, "-o", chips)
    assert result.exit_code == 2
    assert "has 100 MB, more than 50 MB" in result.stderr
    assert list(chips.iterdir()) == []


def test_a_bad_row_and_a_merged_cell_are_findings_not_the_end(tmp_path: Path, chips: Path) -> None:
    path = tmp_path / "t.csv"
    rows = TABLE.replace("2,IN,video input,3.1,3.3", '2,IN,"video input,3.1,3.3')
    path.write_text(rows.replace("4,GND", ",GND"), encoding="utf-8")
    result = draft(path, *KNOWN, "--column", "skip=5", "-o", chips)
    assert result.exit_code == 0
    assert result.stderr.splitlines() == [
        "not read: row 3: '2,IN,\"video input,3.1,3.3': a quote that is not closed",
        "not read: row 5: 'GND | ground | 0': no pin number; a merged cell?",
        "not read: 'pin 2': in none of the tables",
        "not read: 'pin 4': in none of the tables",
    ]
    assert "'pin 4': in none of the tables" in (chips / "qz5710.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("part", ["../../QZ5710", "/QZ/5710", "..\\QZ5710", "QZ/57:10"])
def test_a_part_like_a_path_stays_in_the_folder(
    table: Path, tmp_path: Path, chips: Path, part: str
) -> None:
    before = sorted(tmp_path.rglob("*"))
    result = draft(table, *KNOWN, "--part", part, "-o", chips)
    assert result.exit_code == 0
    assert sorted(tmp_path.rglob("*")) == sorted([*before, chips / "qz5710.yaml"])
    assert load_chip(chips / "qz5710.yaml").part == part


@pytest.mark.parametrize("part", ["..", "../..", "/", "\x1b[2J"])
def test_what_is_no_part_is_refused_and_nothing_is_written(
    table: Path, tmp_path: Path, chips: Path, part: str
) -> None:
    before = sorted(tmp_path.rglob("*"))
    result = draft(table, "--part", part, "-o", chips)
    assert result.exit_code == 2
    assert "is not a part number" in result.stderr
    assert "\x1b" not in result.stderr
    assert sorted(tmp_path.rglob("*")) == before


def test_a_part_taken_from_a_hostile_title_stays_in_the_folder(tmp_path: Path, chips: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text(f"../../QZ5710/../X\x1b[2J jungle\n{TABLE}", encoding="utf-8")
    result = draft(path, "-o", chips)
    assert result.exit_code == 0
    assert [found.name for found in chips.iterdir()] == ["qz5710.yaml"]
    assert "\x1b" not in result.output + (chips / "qz5710.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--column", "dc"], "is not a key and a number, such as dc_typ=5"),
        (["--column", "symbl=5"], "write 'symbol'"),
        (["--column", "dc_typ=0"], "does not exist; columns count from 1"),
        (["--kind", "jungl"], "write 'jungle'"),
        (["--package", "SDIP"], "is not a family and pins; write one such as 'SDIP-42'"),
        (["--pages", "1-2"], "--pages is for a PDF"),
        (["-o", "no/such/folder/x.yaml"], "cannot be written"),
    ],
)
def test_options_that_cannot_be(table: Path, options: list[str], told: str) -> None:
    result = draft(table, *options)
    assert result.exit_code == 2
    assert told in result.stderr


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    result = draft(tmp_path / "none.csv")
    assert (result.exit_code, "cannot be read" in result.stderr) == (2, True)


def test_a_table_is_read_from_standard_input() -> None:
    result = CliRunner().invoke(main, ["draft", "-", *KNOWN], input=TABLE)
    assert result.exit_code == 0
    assert "title: standard input" in result.stdout
    assert "- number: 2  # row 3" in result.stdout


def test_a_pipe_that_may_never_end_is_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    result = draft(pipe)
    assert result.exit_code == 2
    assert "is a pipe or a device; save its content as a file first" in result.stderr


def test_without_pdfplumber_it_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pdfplumber", None)
    for module in ("data_sheet_pdf", "limited_data_sheet"):
        name = f"pinfolio.loaders.drafting.{module}"
        monkeypatch.delitem(sys.modules, name, raising=False)
    (tmp_path / "sheet.pdf").write_bytes(make_pdf([["Pin|Symbol"]]))
    result = draft(tmp_path / "sheet.pdf")
    assert result.exit_code == 2
    assert "pip install 'pinfolio[pdf]'" in result.stderr


class TestSeveralFiles:
    def test_go_into_a_folder_each_under_its_own_part(self, tmp_path: Path, chips: Path) -> None:
        for part in ("QZ1001", "QZ1002"):
            (tmp_path / f"{part}.csv").write_text(TABLE, encoding="utf-8")
        result = draft(tmp_path / "QZ1001.csv", tmp_path / "QZ1002.csv", "-o", chips)
        assert result.exit_code == 0
        assert sorted(path.name for path in chips.iterdir()) == ["qz1001.yaml", "qz1002.yaml"]
        assert "QZ1002.csv: not read: 'Other'" in result.stderr

    def test_the_faults_of_each_are_told_and_the_others_drafted(
        self, table: Path, tmp_path: Path, chips: Path
    ) -> None:
        (tmp_path / "empty.csv").write_bytes(b"")
        again = tmp_path / "again" / table.name
        again.parent.mkdir()
        again.write_text(TABLE, encoding="utf-8")
        result = draft(tmp_path / "empty.csv", table, tmp_path / "none.csv", again, "-o", chips)
        assert result.exit_code == 1
        assert "empty.csv:1:1: an empty file" in result.stderr
        assert "none.csv: cannot be read (No such file or directory)" in result.stderr
        assert "qz5710.yaml: exists already" in result.stderr
        assert "Error: 3 of 4 files not drafted" in result.stderr
        assert [path.name for path in chips.iterdir()] == ["qz5710.yaml"]

    def test_several_processes_draft_what_one_does(self, table: Path, tmp_path: Path) -> None:
        (tmp_path / "empty.csv").write_bytes(b"")
        files = [table, tmp_path / "empty.csv", table]
        wanted = Wanted(Identity("QZ1"), {})
        alone = list(draft_files(files, wanted, processes=1))
        shared = list(draft_files(files, wanted, processes=2))
        assert list(map(str, alone)) == list(map(str, shared))
        assert [isinstance(each, Drafted) for each in shared] == [True, False, True]

    @pytest.mark.parametrize(
        ("options", "told"),
        [
            (["--part", "QZ1"], "--part names one chip"),
            ([], "need an existing folder for their drafts"),
            (["-o", "x.yaml"], "need an existing folder for their drafts"),
        ],
    )
    def test_need_a_folder_and_parts_of_their_own(
        self, table: Path, options: list[str], told: str
    ) -> None:
        result = draft(table, table, *options)
        assert (result.exit_code, told in result.stderr) == (2, True)


def test_every_fault_of_the_columns_comes_at_once(table: Path) -> None:
    wrong = ["dc", "symbl=5", "dc_typ=0", "symbol=2", "symbol=3"]
    result = draft(table, *(word for each in wrong for word in ("--column", each)))
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert len(lines) == 4
    assert "is not a key and a number" in lines[0]
    assert "symbol is given twice" in lines[1]
    assert "write 'symbol'" in lines[2]
    assert "column 0 for dc_typ does not exist" in lines[3]


def test_several_columns_may_be_skipped(tmp_path: Path) -> None:
    path = tmp_path / "two.csv"
    path.write_text("Pin,Symbol,Name,Name,DC (V)\n1,A,x,y,3\n2,B,z,w,4\n")
    refused = draft(path)
    assert "--column 'symbol=2' --column skip=3 --column skip=4" in refused.stderr
    answer = ["--column", "symbol=2", "--column", "skip=3", "--column", "skip=4"]
    assert "symbol: A" in draft(path, *answer).stdout


def test_columns_that_a_table_lacks_are_refused(table: Path) -> None:
    result = draft(table, "--column", "dc_typ=40", "--column", "resistance=50")
    assert result.exit_code == 2
    assert "column 40 for dc_typ: expected a column from 1 to 5" in result.stderr
    assert "column 50 for resistance: expected a column from 1 to 5" in result.stderr


def test_a_table_of_characteristics_is_drafted_from_standard_input() -> None:
    rows = "Parameter,Pin,Min,Typ,Max,Unit\nburst key level,3,7.2,8,8.8,V\n"
    result = CliRunner().invoke(main, ["draft", "-", *KNOWN], input=rows)
    assert result.exit_code == 0
    assert "value: min 7.2 V typ 8 V max 8.8 V" in result.stdout


def test_a_page_with_several_tables_is_asked_about_and_table_answers() -> None:
    tables = "".join(
        f"<h2>{name}</h2><table><tr><td>Pin<td>Symbol<tr><td>1<td>{name}1<tr><td>2<td>B</table>"
        for name in ("SIP", "DIP")
    )
    asked = CliRunner().invoke(main, ["draft", "-"], input=tables)
    assert asked.exit_code == 2
    assert "1 'SIP' (2 pins); 2 'DIP' (2 pins)" in asked.stderr
    chosen = CliRunner().invoke(main, ["draft", "-", "--table", "2"], input=tables)
    assert "symbol: DIP1" in chosen.stdout


@pytest.mark.parametrize("option", ["x", "0", "1,,2", "9999"])
def test_a_table_that_is_no_number_is_refused(table: Path, option: str) -> None:
    assert f"--table {option!r} is no number of a table" in draft(table, "--table", option).stderr


def test_table_is_for_files_with_several(table: Path) -> None:
    assert "--table is for a file with several" in draft(table, "--table", "1").stderr


def test_the_encoding_can_be_stated(tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    text = "引脚,符号,功能,电压\n1,GND,接地,0\n2,CVBS IN,复合视频信号输入,3.1\n"
    table.write_bytes(text.encode("gbk"))
    assert "复合视频信号输入" in draft(table, "--encoding", "gbk").output
    assert "复合视频信号输入" in draft(table).output
    wrong = draft(table, "--encoding", "utf-8")
    assert wrong.exit_code == 2
    assert "is not text in utf-8" in wrong.output
    assert "is not known" in draft(table, "--encoding", "gkb1").output
