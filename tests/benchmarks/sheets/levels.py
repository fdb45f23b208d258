"""Quirks of values: units, tolerances, limits, states, signals, and levels that are no pin's DC."""

from __future__ import annotations

from sheets.invented import Made, Part
from sheets.languages import PARAMETERS
from sheets.sheet import Case, Grid, Level, Parameter, Question, Truth, Value

_DC_QUESTION = ("dc", "voltage", "DC")


def _print_cells(part: Part, heading: str, cells: dict[int, tuple[str, Level]]) -> Case:
    """Return a plain table whose voltages are written in another way."""
    rows = [[*part.words("pin", "symbol", "function"), heading]]
    pins = {}
    for pin in part.pins:
        text, level = cells[pin.number]
        rows.append([str(pin.number), pin.symbol, pin.function, text])
        pins[pin.number] = pin.as_pin({"": Value(level, (text,), (heading,))})
    return Case((Grid(rows),), (Truth(pins),))


def print_plainly(part: Part) -> Case:
    return Case((part.plain_grid(),), (Truth(part.plain_truth()),))


def print_units_in_cells(part: Part) -> Case:
    cells = {}
    for pin in part.pins:
        is_small = 0 < pin.dc_v < 1
        text = f"{pin.dc_v * 1000:.0f} mV" if is_small else f"{part.number(pin.dc_v)} V"
        cells[pin.number] = (text, Level(typ=pin.dc_v))
    return _print_cells(part, part.word("dc"), cells)


def print_millivolts_in_heading(part: Part) -> Case:
    cells = {p.number: (f"{p.dc_v * 1000:.0f}", Level(typ=p.dc_v)) for p in part.pins}
    return _print_cells(part, f"{part.word('dc')} [mV]", cells)


def print_tolerances(part: Part) -> Case:
    cells = {}
    for pin in part.pins:
        level = Level(round(pin.dc_v - 0.2, 3), pin.dc_v, round(pin.dc_v + 0.2, 3))
        cells[pin.number] = (f"{part.number(pin.dc_v)} ± {part.number(0.2)}", level)
    return _print_cells(part, part.volts(), cells)


def print_limits_in_a_cell(part: Part) -> Case:
    cells = {}
    for pin in part.pins:
        low, high = pin.dc_v, pin.dc_v + 0.4
        typ = pin.dc_v + 0.2
        text = " / ".join(part.number(value) for value in (low, typ, high))
        cells[pin.number] = (text, Level(low, typ, high))
    heading = f"{part.word('dc')} {part.word('min')}/{part.word('typ')}/{part.word('max')} (V)"
    return _print_cells(part, heading, cells)


def print_ranges(part: Part) -> Case:
    cells = {}
    for pin in part.pins:
        low, high = pin.dc_v, pin.dc_v + 0.6
        sign = "..." if pin.number % 2 else " to " if part.language == "en" else " – "
        cells[pin.number] = (f"{part.number(low)}{sign}{part.number(high)}", Level(low, None, high))
    return _print_cells(part, part.volts(), cells)


def _limit_cells(part: Part, pin: Made) -> tuple[list[str], Level]:
    low, typ, high = round(pin.dc_v - 0.3, 1), pin.dc_v, round(pin.dc_v + 0.4, 1)
    if pin.symbol == "GND":
        return ["", part.number(0), ""], Level(typ=0)
    return [part.number(value) for value in (low, typ, high)], Level(low, typ, high)


def print_limit_columns(part: Part) -> Case:
    limits = [f"{part.word('dc')} {part.word(key)} (V)" for key in ("min", "typ", "max")]
    rows, pins = [[*part.words("pin", "symbol", "function"), *limits]], {}
    for pin in part.pins:
        cells, level = _limit_cells(part, pin)
        rows.append([str(pin.number), pin.symbol, pin.function, *cells])
        pins[pin.number] = pin.as_pin({"": Value(level, tuple(filter(None, cells)), tuple(limits))})
    return Case((Grid(rows),), (Truth(pins),))


def print_two_headings_above_limits(part: Part) -> Case:
    above = ["", "", "", part.volts(), "", ""]
    limits = part.words("min", "typ", "max")
    rows, pins = [above, [*part.words("pin", "symbol", "function"), *limits]], {}
    for pin in part.pins:
        cells, level = _limit_cells(part, pin)
        rows.append([str(pin.number), pin.symbol, pin.function, *cells])
        headings = (part.volts(), *limits)
        pins[pin.number] = pin.as_pin({"": Value(level, tuple(filter(None, cells)), headings)})
    return Case((Grid(rows, spans=((0, 3, 1, 3),)),), (Truth(pins),))


def print_two_states(part: Part) -> Case:
    states = ("no signal", "colour bars")
    heads = [f"{part.word('dc')}, {part.word(state)} (V)" for state in states]
    rows, pins = [[*part.words("pin", "symbol", "function"), *heads]], {}
    for pin in part.pins:
        values = {}
        for step, (state, heading) in enumerate(zip(states, heads, strict=True)):
            is_fixed = pin.symbol in ("VCC", "GND")
            level_v = pin.dc_v if is_fixed else round(pin.dc_v + step * 0.3, 1)
            values[state] = part.typical(level_v, heading)
        cells = [value.printed[0] for value in values.values()]
        rows.append([str(pin.number), pin.symbol, pin.function, *cells])
        pins[pin.number] = pin.as_pin(values)
    named = {state: part.word(state) for state in states}
    return Case((Grid(rows),), (Truth(pins, conditions=named),))


def print_same_heading_twice(part: Part) -> Case:
    """Two columns of voltages under one heading: only a question can tell them apart."""
    rows = [[*part.words("pin", "symbol", "function"), part.volts(), part.volts()]]
    first, second = {}, {}
    for pin in part.pins:
        other_v = round(pin.dc_v + 0.5, 1)
        rows.append([*part.plain_row(pin), part.number(other_v)])
        first[pin.number] = pin.as_pin({"": part.typical(pin.dc_v)})
        second[pin.number] = pin.as_pin({"": part.typical(other_v)})
    answer = ("--column", "dc_typ=4", "--column", "skip=5")
    return Case((Grid(rows),), (Truth(first), Truth(second)), Question(_DC_QUESTION, answer))


def print_signals(part: Part) -> Case:
    heads = [part.volts(), f"{part.word('ac')} (Vpp)", part.word("frequency")]
    rows, pins = [[*part.words("pin", "symbol", "function"), *heads]], {}
    for pin in part.pins:
        has_signal = pin.symbol in ("VOUT", "VIN", "SCO", "HOUT", "XTAL", "CIN", "AOUT")
        rate = "4.43 MHz" if pin.symbol in ("XTAL", "CIN") else "15.625 kHz"
        rate = rate.replace(".", ",") if part.has_comma else rate
        cells = [part.number(1.3 + pin.number / 10), rate] if has_signal else []
        rows.append([*part.plain_row(pin), *(cells or ["", ""])])
        pins[pin.number] = pin.as_pin(
            {"": part.typical(pin.dc_v)}, *zip(cells, heads[1:], strict=False)
        )
    return Case((Grid(rows),), (Truth(pins),))


def print_resistances(part: Part) -> Case:
    colours = {"en": ("red", "black"), "de": ("rot", "schwarz"), "fr": ("rouge", "noir")}
    red, black = colours.get(part.language, ("R(+)", "R(−)"))
    heads = [part.volts(), f"{red} (kΩ)", f"{black} (kΩ)"]
    rows, pins = [[*part.words("pin", "symbol", "function"), *heads]], {}
    for pin in part.pins:
        cells = [part.number(5.5 + pin.number), part.number(7.5 + pin.number)]
        rows.append([*part.plain_row(pin), *cells])
        pins[pin.number] = pin.as_pin(
            {"": part.typical(pin.dc_v)}, *zip(cells, heads[1:], strict=True)
        )
    return Case((Grid(rows),), (Truth(pins),))


def _print_beside_dc(part: Part, key: str, step_v: float) -> Case:
    """Return a table with voltages that are not the resting DC in a column beside it."""
    rows = [[*part.words("pin", "symbol", "function"), part.volts(key), part.volts()]]
    pins = {}
    for pin in part.pins:
        other = part.number(pin.dc_v + step_v + 0.05, 2)
        *begin, dc = part.plain_row(pin)
        rows.append([*begin, other, dc])
        pins[pin.number] = pin.as_pin({"": part.typical(pin.dc_v)}, (other, part.volts(key)))
    return Case((Grid(rows),), (Truth(pins),))


def print_ratings(part: Part) -> Case:
    return _print_beside_dc(part, "rating", 3)


def print_thresholds(part: Part) -> Case:
    return _print_beside_dc(part, "threshold", 1)


def print_only_thresholds(part: Part) -> Case:
    """No column of DC at all, only one of thresholds."""
    rows, pins = [[*part.words("pin", "symbol", "function"), part.volts("threshold")]], {}
    for pin in part.pins:
        rows.append(part.plain_row(pin))
        pins[pin.number] = pin.as_pin(None, (part.number(pin.dc_v), part.volts("threshold")))
    return Case((Grid(rows),), (Truth(pins),))


def print_characteristics(part: Part) -> Case:
    """A pin table, and characteristics whose levels belong to a waveform, a supply or a limit."""
    limits = part.words("min", "typ", "max", "unit")
    rows = [[*part.words("parameter", "symbol", "pin"), *limits]]
    parameters = []
    for step, (symbol, names) in enumerate(PARAMETERS.items()):
        unit, pin = "mA" if symbol == "ICC" else "V", part.pins[step].number
        typ = 7.4 + step * 1.2
        cells = [part.number(value) for value in (typ - 0.8, typ, typ + 0.8)]
        scale, base = (1000, "A") if unit == "mA" else (1, "V")
        level = Level((typ - 0.8) / scale, typ / scale, (typ + 0.8) / scale, base)
        rows.append([names[part.language], symbol, str(pin), *cells, unit])
        value = Value(level, tuple(cells), tuple(limits))
        parameters.append(Parameter(names[part.language], pin, value))
    return Case((Grid(rows),), (Truth(parameters=tuple(parameters)),))


def print_unread_cells(part: Part) -> Case:
    """Cells that are texts, dashes or question marks: blanks with the text beside them."""
    texts = {1: part.word("see"), 3: "-", 5: "n.c.?", 6: f"≈ {part.word('see')} 4"}
    rows, pins = part.plain_rows(), part.plain_truth()
    for number, text in texts.items():
        made = part.pins[number - 1]
        rows[number][3] = text
        pins[number] = made.as_pin(None, *([] if text == "-" else [(text, part.volts())]))
    return Case((Grid(rows),), (Truth(pins),))


def print_levels_by_pin(part: Part) -> Case:
    """Levels of signals headed by pin, item and limits: no row states a resting voltage."""
    limits = part.words("min", "typ", "max", "unit")
    rows, parameters = [[*part.words("pin", "parameter"), *limits]], []
    names = [PARAMETERS[key][part.language] for key in ("VBK", "VTH", "VI")]
    for pin, name in zip(part.pins, names, strict=False):
        low, typ, high = pin.number + 0.2, pin.number + 1.0, pin.number + 1.8
        cells = [part.number(value) for value in (low, typ, high)]
        rows.append([str(pin.number), name, *cells, "V"])
        value = Value(Level(low, typ, high), tuple(cells), tuple(limits[:3]))
        parameters.append(Parameter(name, pin.number, value))
    return Case((Grid(rows),), (Truth(parameters=tuple(parameters)),))


def print_currents_among_volts(part: Part) -> Case:
    """A current in the column of voltages is no voltage: a blank, and the cell listed."""
    rows, pins = part.plain_rows(), part.plain_truth()
    made = next(pin for pin in part.pins if pin.symbol == "VCC")
    rows[made.number][3] = "52 mA"
    pins[made.number] = made.as_pin(None, ("52 mA", part.volts()))
    return Case((Grid(rows),), (Truth(pins),))


def print_pin_twice(part: Part) -> Case:
    """A pin on two rows with two voltages: one may be taken if the other is listed."""
    rows, truths = part.plain_rows(), []
    made = part.pins[3]
    other_v = round(made.dc_v + 0.8, 1)
    rows.insert(5, [*rows[4][:3], part.number(other_v)])
    for taken_v, left_v in ((made.dc_v, other_v), (other_v, made.dc_v)):
        left = (part.number(left_v), part.volts())
        pin = made.as_pin({"": part.typical(taken_v)}, left)
        truths.append(Truth({**part.plain_truth(), made.number: pin}))
    return Case((Grid(rows),), tuple(truths))


def print_waveform_numbers(part: Part) -> Case:
    """A column with the numbers of drawn waveforms, which are no values of a pin."""
    heading = "Waveform No." if part.language == "en" else "Oscillogram No."
    rows, pins = [[*part.words("pin", "symbol", "function"), heading, part.volts()]], {}
    for pin in part.pins:
        *begin, dc = part.plain_row(pin)
        drawn = f"No. {pin.number + 20}"
        rows.append([*begin, drawn, dc])
        pins[pin.number] = pin.as_pin({"": part.typical(pin.dc_v)}, (drawn, heading))
    return Case((Grid(rows),), (Truth(pins),))
