"""A table drafted into a chip file: nothing of the file is overwritten unasked."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from click.testing import Result
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip, read_chip
from pinfolio.loaders.drafting.chip_draft import Origin
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.plugins.contributing.begun_chip import TypedPin, begin_from_pins
from pinfolio.plugins.contributing.draft_into_chip import (
    CannotDraftInto,
    Merge,
    apply_values,
    compare_with_chip,
)
from pinfolio.plugins.contributing.new_chip import begin_chip_file
from pinfolio.plugins.terminal import draft_into as terminal

HEADING: Final = "Pin,Symbol,Function,DC typ,Unit\n"
ROWS: Final = (
    "1,GND,ground,0,V\n"
    "2,CVBS IN,composite video input,3.1,V\n"
    "3,H OUT,horizontal drive output,1.6,V\n"
    "4,VCC,supply voltage,8,V\n"
)
BEGUN: Final = begin_from_pins(
    "ZZQ1",
    "DIP-4",
    "jungle",
    [TypedPin(1, "GND", "0"), TypedPin(3, "HD", "1.7", "line driver"), TypedPin(4, "VCC", "8.1")],
).text
JUNGLE: Final = next(path for path in chip_files() if path.stem == "tqz5752")


def merge_table(text: str, table: str = HEADING + ROWS) -> Merge:
    origin = Origin("table", "data sheet", "Invented sheet")
    return compare_with_chip(text.encode(), "zz.yaml", read_pin_table(table.encode(), "t"), origin)


def list_places(merge: Merge, outcome: str) -> set[tuple[int | None, str]]:
    return {(value.pin, value.name) for value in merge.values if value.outcome == outcome}


def test_blanks_of_a_new_file_are_filled_and_their_explanations_go() -> None:
    merge = merge_table(begin_chip_file("ZZQ1", "DIP-4", "jungle"))
    text, broken = apply_values(merge, merge.select_values("new"))
    assert not broken
    assert merge.select_values("conflict") == []
    for key in ("maker", "summary", "    title"):
        text = re.sub(rf"^{key}: .*#[?].*$", f"{key}: Invented.", text, flags=re.MULTILINE)
    assert "#?" not in text
    chip = read_chip(text.encode(), "zz.yaml")
    assert [pin.symbol for pin in chip.pins] == ["GND", "CVBS IN", "H OUT", "VCC"]
    assert chip.supplies[0].voltage.nominal == 8
    assert {e.source.note for pin in chip.pins for e in pin.expectations} == {
        "row 2", "row 3", "row 4", "row 5"}  # fmt: skip


def test_a_chip_begun_at_the_bench_takes_the_table_in_beside_its_readings() -> None:
    merge = merge_table(BEGUN)
    assert list_places(merge, "conflict") == {(3, "symbol"), (4, "supply voltage")}
    assert (3, "function") in list_places(merge, "same")  # line driver: horizontal drive output
    text, broken = apply_values(merge, merge.select_values("new"))
    assert not broken
    chip = read_chip(text.encode(), "zz.yaml")
    symbols = [pin.symbol for pin in chip.pins]
    assert symbols == ["GND", "CVBS IN", "HD", "VCC"]
    assert chip.pins[1].role == "input"
    drive = {e.condition: e for e in chip.pins[2].expectations}
    assert (drive["as found"].dc, drive["as found"].source.id) != (None, "table")
    assert drive["as in the source"].source.id == "table"


def test_a_second_time_nothing_is_new() -> None:
    merge = merge_table(BEGUN)
    text, _ = apply_values(merge, merge.select_values("new"))
    again = merge_table(text)
    assert again.select_values("new") == []
    assert apply_values(again, []) == (text, ())


def test_a_value_taken_from_the_table_brings_its_source() -> None:
    merge = merge_table(BEGUN)
    text, _ = apply_values(merge, merge.select_values("new"))
    other = merge_table(text, HEADING + "3,HD,line driver,2.2,V\n")
    (conflict,) = other.select_values("conflict")
    assert (conflict.in_chip, conflict.in_table) == ("1.6 V", "2.2 V")
    changed, _ = apply_values(other, [conflict])
    expectation = read_chip(changed.encode(), "zz.yaml").pins[2].expectation("as in the source")
    assert expectation is not None
    assert expectation.dc is not None
    assert expectation.dc.nominal == 2.2
    assert expectation.source.id == "table-2"


def test_comments_and_layout_of_a_whole_chip_stay() -> None:
    text = JUNGLE.read_text(encoding="utf-8")
    merge = merge_table(text, "Pin,Symbol,DC typ,Unit\n13,SYNC IN,3.3,V\n")
    after, broken = apply_values(merge, merge.select_values("new"))
    assert not broken
    kept = [line for line in text.splitlines() if line.strip().startswith("#")]
    assert [line for line in after.splitlines() if line.strip().startswith("#")] == kept
    assert len(after.splitlines()) - len(text.splitlines()) in range(1, 8)
    before, chip = load_chip(JUNGLE), read_chip(after.encode(), "zz.yaml")
    assert chip.pins[12].expectations[:-1] == before.pins[12].expectations
    assert chip.pins[:12] == before.pins[:12]


def test_a_value_that_breaks_a_rule_is_left_out_with_the_reason() -> None:
    text = JUNGLE.read_text(encoding="utf-8")
    merge = merge_table(text, "Pin,Symbol,DC typ,Unit\n13,SYNC IN,31,V\n14,SLICE,4,V\n")
    after, broken = apply_values(merge, merge.select_values("new"))
    assert {value.pin for value in broken} == {13}
    assert "31 V" in broken[0].reason
    assert len(read_chip(after.encode(), "zz.yaml").pins[13].expectations) > 0


def test_a_table_of_a_larger_package_is_refused() -> None:
    with pytest.raises(CannotDraftInto, match=r"the table has pin 5, but .* has only 4"):
        merge_table(BEGUN, HEADING + ROWS + "5,X,mute input,1,V\n")


@settings(max_examples=25)
@given(st.lists(st.decimals(0, 8, places=2), min_size=4, max_size=4))
def test_no_value_of_the_file_changes_unasked(volts: list[object]) -> None:
    rows = "".join(f"{n},S{n},filter,{v},V\n" for n, v in enumerate(volts, 1))
    merge = merge_table(BEGUN, HEADING + rows)
    after = read_chip(apply_values(merge, merge.select_values("new"))[0].encode(), "zz.yaml")
    for pin, now in zip(read_chip(BEGUN.encode(), "zz.yaml").pins, after.pins, strict=True):
        assert now.expectations[: len(pin.expectations)] == pin.expectations
        assert pin.symbol.startswith("?") or now.symbol == pin.symbol


@pytest.mark.parametrize(
    "text",
    [
        "pins: [1, {number: [1], symbol: {a: b}}]\nsources: x\nsupplies: [{pins: [[1]]}]",
        "sources: x\npins: [{number: 1, symbol: [X], expectations: [{condition: [a], dc: [b]}]}]",
        "sources: {a: b}\npackage: [DIP]\npins: [{number: 1, expectations: 7}]\nconditions: {a: b}",
    ],
)
def test_a_file_of_another_shape_is_compared_without_a_breakdown(text: str) -> None:
    merge = merge_table(text)
    assert merge.values
    with pytest.raises(CannotDraftInto, match="is no list; pinfolio lint says where"):
        apply_values(merge, merge.select_values("new"))


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    table, chip = tmp_path / "t.csv", tmp_path / "zz.yaml"
    table.write_text(HEADING + ROWS, encoding="utf-8")
    chip.write_text(BEGUN, encoding="utf-8")
    return table, chip


def test_without_a_terminal_differences_are_listed_and_nothing_is_written(
    run: Callable[..., Result], files: tuple[Path, Path]
) -> None:
    table, chip = files
    answer = run("draft", table, "--into", chip)
    assert answer.exit_code == 1
    assert "nothing written: file and table differ in 2 values" in answer.output
    assert "HD" in answer.output
    assert "H OUT" in answer.output
    assert chip.read_text(encoding="utf-8") == BEGUN


def test_keep_takes_in_only_new_values(
    run: Callable[..., Result], files: tuple[Path, Path]
) -> None:
    table, chip = files
    answer = run("draft", table, "--into", chip, "--keep")
    assert answer.exit_code == 0
    assert "2 of the file kept" in answer.output
    assert load_chip(chip).pins[2].symbol == "HD"


def test_each_difference_is_asked_for(
    run: Callable[..., Result], files: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    table, chip = files
    answers = {"symbol": "t", "supply voltage": "k"}
    monkeypatch.setattr(terminal, "_ask", lambda value: answers[value.name])
    monkeypatch.setattr(terminal, "_can_ask", lambda: True)
    assert run("draft", table, "--into", chip).exit_code == 0
    assert load_chip(chip).pins[2].symbol == "H OUT"
    assert load_chip(chip).supplies[0].voltage.nominal == 8.1


@pytest.mark.parametrize("more", [["--keep"], ["--into", "zz.yaml", "-o", "x.yaml"]])
def test_options_that_contradict_are_refused(
    run: Callable[..., Result], files: tuple[Path, Path], more: list[str]
) -> None:
    assert run("draft", files[0], *more).exit_code == 2
