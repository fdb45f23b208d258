"""Quirks of tables: numbering, headings, rows that are no pins, merged cells, several tables."""

from __future__ import annotations

from dataclasses import replace

from sheets.invented import Made, Part
from sheets.sheet import Case, Grid, Pin, Question, Truth

_GROUP_ROWS = 4  # pins below each heading of a group


def _disturb(
    part: Part, grid: Grid, pins: dict[int, Pin] | None = None, listed: tuple[str, ...] = ()
) -> Case:
    return Case((grid,), (Truth(pins or part.plain_truth(), listed=listed),))


def number_for_two_packages(part: Part) -> Case:
    """Two numbering columns: only a question can tell which package is meant."""
    packages = [f"{part.word('pin')} {name}" for name in ("SDIP", "QFP")]
    rows = [[*packages, *part.words("symbol", "function"), part.volts()]]
    first, second, count = {}, {}, len(part.pins)
    for pin in part.pins:
        moved = replace(pin, number=(pin.number + 3) % count + 1)
        number, *cells = part.plain_row(pin)
        rows.append([number, str(moved.number), *cells])
        values = {"": part.typical(pin.dc_v)}
        first[pin.number] = pin.as_pin(values, (str(moved.number), packages[1]))
        second[moved.number] = moved.as_pin(values, (number, packages[0]))
    question = Question(("number", "pin"), ("--column", "number=1"))
    return Case((Grid(rows),), (Truth(first), Truth(second)), question)


def repeat_headings(part: Part) -> Case:
    heads, *rows = part.plain_rows()
    half = len(rows) // 2
    return _disturb(part, Grid([heads, *rows[:half], heads, *rows[half:]]))


def set_halves_side_by_side(part: Part) -> Case:
    heads, *rows = part.plain_rows()
    half = (len(rows) + 1) // 2
    right = rows[half:] + [[""] * len(heads)] * (2 * half - len(rows))
    return _disturb(part, Grid([heads * 2, *(a + b for a, b in zip(rows, right, strict=False))]))


def transpose(part: Part) -> Case:
    return _disturb(part, Grid([list(column) for column in zip(*part.plain_rows(), strict=True)]))


def merge_cells(part: Part) -> Case:
    """Ground on two neighbouring pins, its symbol, function and voltage printed once."""
    ground = part.make_pin(0, "GND")
    first = len(part.pins) + 1
    for number in (first, first + 1):
        part.pins.append(replace(ground, number=number))
    rows = part.plain_rows()
    rows[-1][1:] = ["", "", ""]
    spans = tuple((first, column, 2, 1) for column in (1, 2, 3))
    return _disturb(part, Grid(rows, spans=spans))


def add_footnotes(part: Part) -> Case:
    heads, *rows = part.plain_rows()
    rows[2][3] += " 1)"
    rows[4][2] += " *"
    after = (f"1) {part.word('note')}", f"* {part.word('see')} 12")
    return _disturb(part, Grid([heads, *rows], after=after), listed=(part.word("note"),))


def number_ranges(part: Part) -> Case:
    """Three pins "n-m" and two pins "n, m" in a row."""
    pins, rows = list(part.pins), part.plain_rows()
    last = len(pins)
    spread = [(f"{last + 1}-{last + 3}", (1, 2, 3)), (f"{last + 4}, {last + 5}", (4, 5))]
    for (text, steps), key in zip(spread, ("GND", "VCC"), strict=True):
        made = part.make_pin(0, key)
        rows.append([text, *part.plain_row(made)[1:]])
        part.pins.extend(replace(made, number=last + step) for step in steps)
    return _disturb(part, Grid(rows))


def repeat_symbols(part: Part) -> Case:
    count = len(part.pins)
    for step, key in enumerate(("GND", "VCC", "GND"), 1):
        part.pins.append(part.make_pin(count + step, key))
    return _disturb(part, part.plain_grid())


def _head_with(part: Part, heads: list[str]) -> Case:
    """Return a table whose headings say nothing: each column must be asked about."""
    rows = part.plain_rows()[1:]
    keys = ("number", "symbol", "function", "dc_typ")
    answer = [text for n, key in enumerate(keys, 1) for text in ("--column", f"{key}={n}")]
    grid = Grid([heads, *rows] if heads else rows)
    pins = {}
    for pin in part.pins:
        value = replace(part.typical(pin.dc_v), headings=tuple(heads[3:] or ["column 4"]))
        pins[pin.number] = pin.as_pin({"": value})
    return Case((grid,), (Truth(pins),), Question(("column", "heading"), tuple(answer)))


def head_unknown(part: Part) -> Case:
    return _head_with(part, ["Xq", "Blor", "Wimpel", "Zug"])


def head_nothing(part: Part) -> Case:
    return _head_with(part, [])


def head_by_position(part: Part) -> Case:
    rows, pins = [["Position", "Name", "Type", "Signal"]], {}
    for pin in part.pins:
        sort = "power" if pin.symbol in ("VCC", "GND") else "signal"
        rows.append([str(pin.number), pin.symbol, sort, pin.function])
        pins[pin.number] = pin.as_pin()
    return _disturb(part, Grid(rows), pins)


def leave_blank_rows(part: Part) -> Case:
    heads, *rows = part.plain_rows()
    rows.insert(3, [""] * len(heads))
    rows.insert(6, [""] * len(heads))
    return _disturb(part, Grid([heads, *rows]))


def add_group_rows(part: Part) -> Case:
    heads, *rows = part.plain_rows()
    rows.insert(0, [part.word("group one"), "", "", ""])
    rows.insert(_GROUP_ROWS + 1, [part.word("group two"), "", "", ""])
    spans = ((1, 0, 1, 4), (_GROUP_ROWS + 2, 0, 1, 4))
    return _disturb(part, Grid([heads, *rows], spans=spans))


def add_comments(part: Part) -> Case:
    before = ("ZZX9911 (invented part)", f"# {part.word('note')}, VCC = 12 V")
    return _disturb(part, Grid(part.plain_rows(), before=before))


def add_totals(part: Part) -> Case:
    rows = [*part.plain_rows(), ["", "", part.word("total"), "52 mA"]]
    return _disturb(part, Grid(rows), listed=("52 mA",))


def print_two_parts(part: Part) -> Case:
    """The tables of two parts in one file: only a question can tell which is meant."""
    other = Part(part.chance.randrange(10**6), part.language, part.kind)
    grids = (
        Grid(part.plain_rows(), before=("ZZX9911",)),
        Grid(other.plain_rows(), before=("ZZX9922",)),
    )
    truths = (Truth(part.plain_truth()), Truth(other.plain_truth()))
    return Case(grids, truths, Question(("table",), ("--table", "1")))


def leave_out_functions(part: Part) -> Case:
    rows = [[part.word("pin"), part.word("symbol"), part.volts()]]
    pins = {}
    for pin in part.pins:
        rows.append([str(pin.number), pin.symbol, part.number(pin.dc_v)])
        pins[pin.number] = pin.as_pin({"": part.typical(pin.dc_v)}, named=False)
    return _disturb(part, Grid(rows), pins)


def leave_out_symbols(part: Part) -> Case:
    """No column of symbols: none may be made up from a number or a function."""
    rows = [[part.word("pin"), part.word("function"), part.volts()]]
    pins = {}
    for pin in part.pins:
        rows.append([str(pin.number), pin.function, part.number(pin.dc_v)])
        pins[pin.number] = _without_symbol(pin, part)
    return _disturb(part, Grid(rows), pins)


def _without_symbol(made: Made, part: Part) -> Pin:
    return replace(made.as_pin({"": part.typical(made.dc_v)}), symbol="")
