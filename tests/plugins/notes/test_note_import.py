"""Rows of a shop's table become notes, each once; the others are rejected with the reason."""

from __future__ import annotations

import string
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.note_tables.table_rows import read_table
from pinfolio.loaders.note_tables.table_writing import format_csv, format_json_lines
from pinfolio.loaders.shop.shop_folder import Shop, init_shop
from pinfolio.plugins.notes.note_columns import choose_columns
from pinfolio.plugins.notes.note_export import build_reject_rows, build_rows
from pinfolio.plugins.notes.note_import import NoteImport, plan_import, read_day
from pinfolio.plugins.notes.revisions import collect_notes
from pinfolio.schema import Chip
from pinfolio.schema.errors import PinfolioError, Unknown
from pinfolio.schema.note import Note

HEAD = "chip,pin,symbol,condition,dc,vpp,symptom,cause,remedy,text,date\n"


@pytest.fixture(scope="module")
def importer(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return init_shop(tmp_path_factory.mktemp("importer") / "a", "bench-a")


class Bench:
    """A shop that imports tables for the demonstration's jungle."""

    def __init__(self, shop: Shop, chip: Chip) -> None:
        self.shop, self.chip = shop, chip

    def find_chip(self, marking: str) -> Chip:
        if marking.upper() != self.chip.part:
            raise Unknown(f"no chip {marking!r}")
        return self.chip

    def plan(self, text: str, own: tuple[Note, ...] = (), **values: str) -> NoteImport:
        table = read_table(text.encode(), "t.csv")
        columns, _ = choose_columns(table.headings, {})
        return plan_import(table, columns, values, self.shop, own, self.find_chip)


@pytest.fixture(scope="module")
def bench(importer: Shop, jungle: Chip) -> Bench:
    return Bench(importer, jungle)


def read_one(bench: Bench, row: str, **values: str) -> dict[str, Any]:
    planned = bench.plan(HEAD + row + "\n", **values)
    assert planned.rejects == ()
    (note,) = planned.notes
    return note.model_dump(mode="json", exclude_defaults=True)


def test_a_reading_is_a_note_of_a_good_set(bench: Bench) -> None:
    note = read_one(bench, 'tqz5752,13,,NO SIGNAL,"3,10",,,,,,25.11.2026')
    assert (note["kind"], note["at"], note["condition"]) == (
        "known-good reading", "pin 13", "no signal",
    )  # fmt: skip
    assert (note["readings"], note["date"]) == ({"dc": "3.10 V"}, "2026-11-25")
    assert (note["shop"], note["anchor"]["symbol"]) == ("bench-a", bench.chip.pin(13).symbol)


def test_a_cause_is_parted_into_part_and_failure(bench: Bench) -> None:
    note = read_one(bench, "TQZ5752,46,,,,,No colour,C731 open,22p replaced,,")
    assert (note["kind"], note["part"], note["failure"]) == ("fault and remedy", "C731", "open")
    assert "proof" not in note


def test_a_pin_may_be_named_by_its_symbol(bench: Bench) -> None:
    symbol = bench.chip.pin(13).symbol
    assert read_one(bench, f"TQZ5752,,{symbol},,,,,,,Warm.,")["at"] == "pin 13"
    assert read_one(bench, f"TQZ5752,13,{symbol},,,,,,,Warm.,")["at"] == "pin 13"


def test_a_bare_figure_has_the_unit_of_its_heading(bench: Bench) -> None:
    (note,) = bench.plan("chip,pin,state,DC (mV)\nTQZ5752,13,no signal,3100\n").notes
    assert note.readings is not None
    assert note.readings.dc is not None
    assert note.readings.dc.nominal == pytest.approx(3.1)


def test_a_value_for_all_rows_fills_empty_cells_only(bench: Bench) -> None:
    values = {"condition": "no signal", "chip": "TQZ5752"}
    assert read_one(bench, ",13,,,3.1,,,,,,", **values)["condition"] == "no signal"
    assert read_one(bench, ",13,,standby,3.1,,,,,,", **values)["condition"] == "standby"


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (",13,,,,,,,,Warm.,", "no chip; give a column 'chip', or --value chip=PART"),
        ("NOPE,13,,,,,,,,Warm.,", "no chip 'NOPE'"),
        ("TQZ5752,,,,,,,,,Warm.,", "no place"),
        ("TQZ5752,99,,,,,,,,Warm.,", "no pin '99' on TQZ5752"),
        ("TQZ5752,12,SYNC IN,,,,,,,Warm.,", "pin 12 is not SYNC IN in TQZ5752, which is pin 13"),
        ("TQZ5752,13,,,3.1,,,,,,", "a reading needs the state of the set"),
        ("TQZ5752,13,,,,,No colour,,,,", "a fault needs symptom and cure; cure is missing"),
        ("TQZ5752,13,,,,,,,,,", "neither a reading, a symptom nor a text"),
        ("TQZ5752,13,,no signal,three,,,,,,", "three"),
        ("TQZ5752,13,,no signal,300,,,,,,", "300 V at pin 13 SYNC IN is above its absolute"),
        ("TQZ5752,13,,no signal,1,,,,,,2199-01-01", "the date 2199-01-01 is to come"),
        ("TQZ5752,13,,no signal,1,,,,,,3/4/2026", "may be either of two days"),
        ("TQZ5752,13,,,,,,,,\x1b[31mRed,", "control character U\\+001B"),
        ("TQZ5752,13,,,,,,,,Warm.,,x", "12 cells under 11 headings"),
        (f"TQZ5752,13,,,,,,,,{'x' * 2001},", "text: String should have at most 2000"),
    ],
)
def test_a_row_that_makes_no_note_is_rejected_with_line_and_reason(
    bench: Bench, row: str, reason: str
) -> None:
    planned = bench.plan(f"{HEAD}TQZ5752,1,,,,,,,,Good.,\n{row}\n")
    assert [note.text for note in planned.notes] == ["Good."]
    (reject,) = planned.rejects
    assert reject.row.line == 3
    with pytest.raises(PinfolioError, match=reason):
        raise PinfolioError(reject.reason)


def test_a_reason_lets_a_figure_pass_that_is_hardly_possible(bench: Bench) -> None:
    text = "chip,pin,state,dc,reason\nTQZ5752,13,no signal,300,Flashover.\n"
    assert bench.plan(text).notes[0].reason == "Flashover."


def test_the_same_row_is_taken_once(bench: Bench) -> None:
    row = "TQZ5752,13,,,,,,,,Warm.,2026-11-25\n"
    planned = bench.plan(HEAD + row + "\n" + row + row.replace("Warm", "Cold"))
    assert [note.text for note in planned.notes] == ["Warm.", "Cold."]
    assert planned.repeats == ((4, 2),)
    again = bench.plan(HEAD + row, planned.notes)
    assert (again.notes, again.held) == ((), (2,))


def test_a_row_without_a_date_is_known_again_another_day(bench: Bench) -> None:
    row = f"{HEAD}TQZ5752,13,,,,,,,,Warm.,\n"
    (note,) = bench.plan(row).notes
    earlier = note.model_copy(update={"date": "2026-01-02", "id": "b" * 16})
    assert bench.plan(row, (earlier,)).held == (2,)


def test_two_computers_of_a_shop_make_the_same_notes(bench: Bench) -> None:
    text = f"{HEAD}TQZ5752,13,,,,,,,,Warm.,2026-11-25\n"
    assert bench.plan(text).notes == bench.plan(text).notes


def test_rejects_are_mended_and_imported_again(bench: Bench) -> None:
    table = read_table(f"{HEAD}TQZ5752,99,,,,,,,,=Warm,\n".encode(), "t.csv")
    columns, _ = choose_columns(table.headings, {})
    planned = plan_import(table, columns, {}, bench.shop, (), bench.find_chip)
    written = format_csv(*build_reject_rows(table.headings, planned))
    assert written.count("'=Warm") == 1
    (note,) = bench.plan(written.replace(",99,", ",13,")).notes
    assert (note.at, note.text) == ("pin 13", "=Warm")


@pytest.mark.parametrize(
    ("written", "day"),
    [
        *(("2026-11-05", "2026-11-05"), ("2026/11/5", "2026-11-05")),
        *(("2026-11-05 10:30:00", "2026-11-05"), ("5.11.2026", "2026-11-05")),
        *(("25/11/2026", "2026-11-25"), ("11/25/2026", "2026-11-25"), ("5/5/2026", "2026-05-05")),
    ],
)
def test_days_are_read_as_people_write_them(written: str, day: str) -> None:
    assert read_day(written) == day


@pytest.mark.parametrize("written", ["3/4/2026", "30.2.2026", "yesterday", "2026-13-01"])
def test_no_day_is_guessed(written: str) -> None:
    with pytest.raises(PinfolioError, match="write it as 2026-11-25"):
        read_day(written)


TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"], exclude_characters="\u202a\u202b")
    | st.sampled_from("=+-@'\"\n,;")
    | st.sampled_from(string.ascii_letters),
    min_size=1,
    max_size=30,
).filter(lambda text: bool(text.strip()))
VOLTS = st.integers(0, 400).map(lambda value: f"{value / 100} V")


@st.composite
def draw_notes(draw: st.DrawFn) -> list[Note]:
    """Notes of every kind, each with another text."""
    notes = []
    for number, kind in enumerate(draw(st.lists(st.sampled_from(["remark", "fault", "good"])))):
        fields: dict[str, Any] = {
            "id": f"{number:016d}".translate(str.maketrans("0189", "abcd")),
            "shop": "bench-a",
            "author": "anna",
            "date": "2026-01-02",
            "chip": "TQZ5752",
            "at": draw(st.sampled_from(["pin 13", "pin 46"])),
            "set_name": f"job {number}",
            "text": draw(TEXT),
            "sets": draw(st.integers(1, 3)),
            "confidence": draw(st.sampled_from(["once", "always"])),
        }
        if kind == "good":
            fields |= {"kind": "known-good reading", "condition": "no signal"}
            fields |= {"readings": {"dc": draw(VOLTS), "seen": ["hum"]}, "reason": draw(TEXT)}
        elif kind == "fault":
            fields |= {"kind": "fault and remedy", "symptom": draw(TEXT), "cure": draw(TEXT)}
            fields |= {"readings_after": {"dc": draw(VOLTS), "vpp": "0.4 Vpp"}, "part": "C1"}
        else:
            fields |= {"kind": "remark"}
        try:
            notes.append(Note.model_validate(fields))
        except ValueError:  # a sign that acts on a screen
            continue
    return notes


@given(draw_notes())
def test_importing_an_export_is_the_identity(bench: Bench, notes: list[Note]) -> None:
    table = build_rows(collect_notes(notes))
    texts = (format_csv(table.headings, table.rows), format_json_lines(table.rows))
    left_out = {"id", "anchor"}
    before = sorted(note.model_dump_json(exclude=left_out) for note in notes)
    for text in texts if notes else ():
        planned = bench.plan(text)
        assert planned.rejects == ()
        assert sorted(note.model_dump_json(exclude=left_out) for note in planned.notes) == before
        assert bench.plan(text, tuple(notes)).notes == ()
