"""Drafts: a table of a chip's pins gives the pins back, and a data sheet nearly the whole file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import read_chip
from pinfolio.loaders.chip_files.yaml_positions import read_yaml
from pinfolio.loaders.drafting.chip_draft import Draft, Origin, draft_chip
from pinfolio.loaders.drafting.data_sheet_pdf import read_data_sheet
from pinfolio.loaders.drafting.draft_identity import Identity, suggest_identity
from pinfolio.loaders.drafting.pin_table import PinTable, TablePin
from pinfolio.loaders.drafting.role_guesses import suggest_role, suggest_waveform
from pinfolio.loaders.drafting.table_reader import read_pin_table
from pinfolio.loaders.drafting.text_table import Place, Unread
from pinfolio.schema import Chip, Pin
from pinfolio.schema.rules import advise
from pinfolio.schema.text import visible
from pinfolio.schema.vocabulary import ROLES
from pinfolio.schema.waveforms import WAVEFORM_KINDS
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle, getSampleStyleSheet
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Table

from ...demo_chips import DEMO

KEYS = ("number", "symbol", "function", "role", "absolute_maximum", "resistance", "capacitance")

Shown = tuple[object, ...]


def show_pins(pin: Pin) -> Shown:
    """Facts of a pin that a table can hold."""
    dc = {e.condition: e.dc for e in pin.expectations if e.dc is not None}
    return (*(getattr(pin, key) for key in KEYS), dc)


def make_table(chip: Chip) -> list[list[str]]:
    """A chip's pins as a table, with the headings of a bench spreadsheet."""
    states = [c.name for c in chip.conditions if any(_write_dc(pin, c.name) for pin in chip.pins)]
    head = ["Pin", "Symbol", "Function", "Type", "Abs. max.", "Resistance", "Capacitance"]
    rows = [[*head, *(f"DC, {state} (V)" for state in states)]]
    for pin in chip.pins:
        values = [getattr(pin, key) for key in KEYS]
        rows.append(
            [*("" if v is None else str(v) for v in values), *(_write_dc(pin, s) for s in states)]
        )
    return rows


def _write_dc(pin: Pin, state: str) -> str:
    expectation = pin.expectation(state)
    return str(expectation.dc) if expectation and expectation.dc else ""


def write_csv(rows: Iterable[Sequence[str]], delimiter: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows(rows)
    return text.getvalue()


def draft_table(data: bytes, chip: Chip) -> Draft:
    """The draft of a table, with its user's facts about the chip."""
    identity = Identity(chip.part, chip.maker, chip.kind, chip.package)
    table = read_pin_table(data, "t.csv")
    return draft_chip(table, identity, Origin("table", "data sheet", "t.csv"))


@pytest.mark.parametrize("part", sorted(DEMO))
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_table_of_a_chip_drafts_its_pins(part: str, delimiter: str) -> None:
    chip = DEMO[part]
    draft = draft_table(write_csv(make_table(chip), delimiter).encode(), chip)
    assert (draft.unread, draft.blanks) == ((), 0)
    rows = draft.text.split("\nsupplies:")[0].splitlines()
    assert f"part: {chip.part}" in rows
    again = list_pins(draft, chip)
    assert [show_pins(pin) for pin in again] == [show_pins(pin) for pin in chip.pins]


def list_pins(draft: Draft, chip: Chip) -> tuple[Pin, ...]:
    """The draft's pins, less the DC that other parts of the chip's own file excuse."""
    supplies = "\n".join(
        f"  - {{name: {s.name}, pins: {list(s.pins)}, voltage: 900 V}}" for s in chip.supplies
    )
    head, _, rest = draft.text.partition("\nsupplies:")
    text = f"{head}\nsupplies:\n{supplies}\nsources:{rest.partition('sources:')[2]}"
    return read_chip(text.encode(), "draft").pins


_LETTERS = "ABCDEFGHKLMNOPRSTVWXYZ"
_SYMBOLS = st.text(_LETTERS + "0123456789 -/", min_size=2, max_size=10).map(
    lambda text: "X" + " ".join(text.split()).upper()
)
_FUNCTIONS = st.text("abcdehiklmnoprstuvy ,;:'\"()-/µ±%&|0123456789", min_size=4, max_size=60).map(
    lambda text: "a " + " ".join(text.split())
)
_VOLTS = st.decimals(0, 12, places=2)


@st.composite
def _draw_rows(draw: st.DrawFn) -> list[list[str]]:
    """Pins with symbol, function, role and DC: typical, limits, both, or nothing."""
    count = draw(st.sampled_from([4, 8, 16]))
    symbols = draw(st.lists(_SYMBOLS, min_size=count, max_size=count, unique=True))
    rows = []
    for number, symbol in enumerate(symbols, start=1):
        role = {1: "supply", 2: "ground"}.get(number) or draw(
            st.sampled_from([role for role in ROLES if role not in ("supply", "ground")])
        )
        low, typ, high = sorted(draw(st.tuples(_VOLTS, _VOLTS, _VOLTS)))
        given_ = draw(st.tuples(*[st.booleans()] * 3)) if number > 1 else (False, True, False)
        values = zip((low, typ, high), given_, strict=True)
        limits = [f"{volts if number > 1 else 12:.2f}" if there else "" for volts, there in values]
        rows.append([str(number), symbol, draw(_FUNCTIONS), role, *limits])
    return rows


@settings(max_examples=60, deadline=None)
@given(
    rows=_draw_rows(),
    delimiter=st.sampled_from([",", ";", "\t"]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    order=st.randoms(),
)
def test_any_table_of_pins_drafts_them(
    rows: list[list[str]], delimiter: str, comma: bool, encoding: str, order: object
) -> None:
    comma = comma and delimiter != ","
    written = [[*row[:4], *(v.replace(".", ",") if comma else v for v in row[4:])] for row in rows]
    order.shuffle(written)  # type: ignore[attr-defined]
    heads = [["Pin", "Symbol", "Function", "Type", "DC no signal (V)", "", ""]]
    heads += [["", "", "", "", "min", "typ", "max"]]
    data = write_csv(heads + written, delimiter).encode(encoding)
    package = DEMO["tqz5752"].package.model_copy(update={"family": "DIP", "pins": len(rows)})
    identity = Identity("QZ1", "Tannhof Halbleiter", "jungle", package)
    draft = draft_chip(read_pin_table(data, "t"), identity, Origin("table", "data sheet", "t"))
    chip = read_chip(draft.text.encode(), "draft")
    assert draft.unread == ()
    for pin, (number, symbol, function, role, *limits) in zip(chip.pins, rows, strict=True):
        assert (pin.number, pin.symbol, pin.function, pin.role) == (
            int(number), symbol, function, role,
        )  # fmt: skip
        dc = pin.expectations[0].dc if pin.expectations else None
        read = (dc.low, dc.typ, dc.high) if dc else (None, None, None)
        assert read == tuple(float(volts) if volts else None for volts in limits)


def print_data_sheet(chip: Chip, *, ruled: bool) -> bytes:
    """An invented data sheet of a chip: pin description, terminal voltages, maximum ratings."""
    styles = getSampleStyleSheet()
    small = ParagraphStyle("small", fontName="Helvetica", fontSize=8, leading=10)
    look: list[tuple[object, ...]] = [("FONTSIZE", (0, 0), (-1, -1), 8)]
    look += [("VALIGN", (0, 0), (-1, -1), "TOP")]
    look += [("GRID", (0, 0), (-1, -1), 0.5, (0, 0, 0))] if ruled else []
    states = ["standby", "no signal", "colour bars", "Y/C bars"]
    pins = [[str(p.number), p.symbol, Paragraph(p.function, small)] for p in chip.pins]
    volts = [
        [str(p.number), *(_write_dc(p, s).replace(" V", "", 1) or "-" for s in states)]
        for p in chip.pins
    ]
    limits: dict[str, list[int]] = {}
    for pin in chip.pins:
        if pin.absolute_maximum:
            limits.setdefault(str(pin.absolute_maximum), []).append(pin.number)
    ratings = [
        ["", Paragraph(f"voltage at pins {', '.join(map(str, pins))}", small), most[:-2], "V"]
        for most, pins in limits.items()
    ]
    spans = [("SPAN", (1, 0), (-1, 0)), ("SPAN", (0, 0), (0, 1))]
    story = [
        Paragraph(f"{chip.part} one-chip PAL television processor", styles["Title"]),
        Paragraph("Preliminary data of an invented chip in a 52-pin shrink DIP.", styles["Normal"]),
        Paragraph("Pin description", styles["Heading2"]),
        Table([["Pin", "Symbol", "Function"], *pins], [40, 80, 300], repeatRows=1, style=look),
        PageBreak(),
        Paragraph("Terminal voltages", styles["Heading2"]),
        Table(
            [["Pin", "DC voltage (V)", "", "", ""], ["", *states], *volts],
            [40, 90, 90, 90, 90],
            repeatRows=2,
            style=[*look, *spans],
        ),
        PageBreak(),
        Paragraph("Absolute maximum ratings", styles["Heading2"]),
        Table(
            [["Symbol", "Parameter", "Max", "Unit"], *ratings, ["Tstg", "storage", "150", "°C"]],
            [50, 300, 50, 50],
            style=look,
        ),
    ]
    paper = io.BytesIO()
    SimpleDocTemplate(paper, pagesize=A4).build(story)
    return paper.getvalue()


@pytest.mark.parametrize("ruled", [True, False], ids=["ruled", "unruled"])
def test_a_data_sheet_of_52_pins_becomes_a_chip_file_with_few_edits_by_hand(ruled: bool) -> None:
    chip = DEMO["tqz5752"]
    table = read_data_sheet(print_data_sheet(chip, ruled=ruled), "sheet.pdf")
    identity = suggest_identity(Identity(), table, "sheet")
    draft = draft_chip(table, identity, Origin("sheet", "data sheet", table.title))
    edits = {
        "maker:  #? who makes or made it": "maker: Tannhof Halbleiter",
        next(line for line in draft.text.splitlines() if line.startswith("kind:")): "kind: jungle",
    }
    text = draft.text
    for blank, filled in edits.items():
        assert blank in text
        text = text.replace(blank, filled)
    finished = read_chip(text.encode(), "draft")
    assert len(edits) < 10
    assert [str(finding) for finding in advise(finished)] == []
    assert (finished.part, finished.package.name) == ("TQZ5752", "SDIP-52")
    for pin, true in zip(finished.pins, chip.pins, strict=True):
        assert (pin.number, pin.symbol, pin.function) == (true.number, true.symbol, true.function)
        assert pin.absolute_maximum == true.absolute_maximum
        dc = {e.condition: e.dc for e in true.expectations if e.dc}
        assert {e.condition: e.dc for e in pin.expectations} == dc
        assert all(e.source.page and e.source.note for e in pin.expectations)
    assert [str(line).split(": ", 1)[1] for line in draft.unread] == [
        "'Tstg | storage | 150 | °C': a rating of no pin"
    ]


def test_the_draft_of_a_small_table() -> None:
    text = (
        "QZ9999 jungle in SDIP-8\nPin,Symbol,Function,DC no signal (V),Bias at work (V)\n"
        "1,SCL,clock input,4.9,4.8\n3,VCC,8 V supply,8 *,x\n4,GND,ground,0,0\n"
        "5,NC,not connected,,\n6,NC,not connected,,\n7,BGP,burst gate pulse in,0.3-0.5,\n"
        "8,REF,,4,\n* when warm\n"
    )
    table = read_pin_table(text.encode(), "t.csv", {"skip": 5})
    identity = suggest_identity(Identity(maker="Tannhof: Halbleiter"), table, "t")
    draft = draft_chip(table, identity, Origin("table", "data sheet", "t.csv"))
    assert draft.text == GOLDEN
    assert (draft.pins, draft.blanks) == (8, 5)


GOLDEN = """\
# Drafted from t.csv: look over each 'review' and blank.
file_format: pinfolio chip 1
part: QZ9999  # review: by the words of the source
maker: "Tannhof: Halbleiter"
kind: jungle  # review: by the words of the source
summary: 8-pin chip, drafted from a table of its pins.  # review: the chip in a sentence or two
package: {family: SDIP, pins: 8}  # review: by the words of the source
supplies:  # review
  - {name: VCC, pins: [3], voltage: 8 V}
sources:
  - {id: table, kind: data sheet, title: t.csv}  # review: kind, title, revision, date
conditions:  # review: how to bring the set into each
  - {name: no signal, means: "Set on, no signal at the aerial socket"}
pins:
  - number: 1  # row 3
    symbol: SCL
    function: clock input
    role: bus  # review: suggested by the words
    # review: the words suggest a waveform of kind 'bus activity'
    expectations:
      - {condition: no signal, dc: 4.9 V, source: {id: table, note: row 3}}
  - number: 2  # in none of the tables
    symbol:  #? its short name
    function:  #? its purpose
    role:  #? the sort of pin: input, output, control, filter ...
  - number: 3  # row 4
    symbol: VCC
    function: 8 V supply
    role: supply  # review: suggested by the words
    expectations:
      - condition: no signal
        dc: 8 V
        source: {id: table, note: row 4}
        note: "Footnote * of the source: when warm"
  - number: 4  # row 5
    symbol: GND
    function: ground
    role: ground  # review: suggested by the words
    expectations:
      - {condition: no signal, dc: 0 V, source: {id: table, note: row 5}}
  - number: 5  # row 6
    symbol: NC
    function: not connected
    role: unused  # review: suggested by the words
  - number: 6  # row 7
    symbol: NC
    function: not connected
    role: unused  # review: suggested by the words
  - number: 7  # row 8
    symbol: BGP
    function: burst gate pulse in
    role: input  # review: suggested by the words
    # review: the words suggest a waveform of kind 'line pulse'
    expectations:
      - {condition: no signal, dc: 0.3 V .. 0.5 V, source: {id: table, note: row 8}}
  - number: 8  # row 9
    symbol: REF
    function:  #? its purpose
    role:  #? the sort of pin: input, output, control, filter ...
    expectations:
      - {condition: no signal, dc: 4 V, source: {id: table, note: row 9}}
# Not read or not used; check each by hand:
#   'pin 2': in none of the tables
"""


def test_words_suggest_role_and_waveform() -> None:
    assert suggest_role("BGP", "burst gate pulse in") == "input"
    assert suggest_waveform("BGP", "burst gate pulse in", "input") == "line pulse"
    assert suggest_role("X1", "color oscillator crystal") == "oscillator"
    assert suggest_role("FOO", "who knows") is None
    assert suggest_role("P3", "anything", "Output") == "output"


def test_suggestions_mostly_agree_with_chips_written_by_hand() -> None:
    pins = [pin for chip in DEMO.values() for pin in chip.pins]
    roles = [suggest_role(pin.symbol, pin.function) == pin.role for pin in pins]
    assert sum(roles) > 0.85 * len(pins)
    kinds = [
        (kind, {e.waveform.kind for e in pin.expectations if e.waveform})
        for pin in pins
        if (kind := suggest_waveform(pin.symbol, pin.function, pin.role))
    ]
    assert sum(kind in known for kind, known in kinds) > 0.75 * len(kinds)
    assert {kind for kind, _ in kinds} <= set(WAVEFORM_KINDS)


@given(symbol=st.text(max_size=90), function=st.text(max_size=200), title=st.text(max_size=60))
def test_whatever_the_words_are_the_draft_is_yaml_and_shows_no_control_signs(
    symbol: str, function: str, title: str
) -> None:
    pins = (TablePin(1, Place(2), {"symbol": symbol, "function": function}), TablePin(2, Place(3)))
    table = PinTable(pins, (), (Unread(Place(4), symbol, "not read"),), {}, title, title)
    identity = suggest_identity(Identity(), table, "t")
    draft = draft_chip(table, identity, Origin("table", "data sheet", title or "t"))
    data = read_yaml(draft.text.encode(), "draft").data
    assert [pin["number"] for pin in data["pins"]] == ["1", "2"]
    assert visible(draft.text, keep_lines=True) == draft.text
    assert draft.blanks >= 4
