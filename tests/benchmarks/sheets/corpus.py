"""All sheets of the corpus: each quirk in several kinds of file and languages, always the same."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sheets import layouts, levels
from sheets.formats import SUFFIXES, render
from sheets.invented import Part
from sheets.languages import ENCODINGS, LANGUAGES, Language
from sheets.sheet import KINDS, Case, Kind, Sheet

_TURNS = 4  # sheets of each quirk
_LANGUAGE_STEP = (
    3  # prime to the 8 languages; the kinds follow each other, so that all of them meet
)

QUIRKS: dict[str, Callable[[Part], Case]] = {
    "plain": levels.print_plainly,
    "units in cells": levels.print_units_in_cells,
    "millivolts in heading": levels.print_millivolts_in_heading,
    "tolerances": levels.print_tolerances,
    "min/typ/max in a cell": levels.print_limits_in_a_cell,
    "ranges of values": levels.print_ranges,
    "min/typ/max columns": levels.print_limit_columns,
    "headings in two rows": levels.print_two_headings_above_limits,
    "two states": levels.print_two_states,
    "same DC heading twice": levels.print_same_heading_twice,
    "AC and frequency": levels.print_signals,
    "red/black kΩ": levels.print_resistances,
    "ratings beside DC": levels.print_ratings,
    "thresholds beside DC": levels.print_thresholds,
    "thresholds, no DC": levels.print_only_thresholds,
    "characteristics": levels.print_characteristics,
    "cells not to read": levels.print_unread_cells,
    "two packages": layouts.number_for_two_packages,
    "repeated headings": layouts.repeat_headings,
    "halves side by side": layouts.set_halves_side_by_side,
    "transposed": layouts.transpose,
    "merged cells": layouts.merge_cells,
    "footnotes": layouts.add_footnotes,
    "pin ranges": layouts.number_ranges,
    "equal symbols": layouts.repeat_symbols,
    "unknown headings": layouts.head_unknown,
    "no headings": layouts.head_nothing,
    "Position,Name,Type,Signal": layouts.head_by_position,
    "blank rows": layouts.leave_blank_rows,
    "group rows": layouts.add_group_rows,
    "comments": layouts.add_comments,
    "totals": layouts.add_totals,
    "two parts in a file": layouts.print_two_parts,
    "no functions": layouts.leave_out_functions,
    "no symbols": layouts.leave_out_symbols,
    "levels by pin": levels.print_levels_by_pin,
    "currents among volts": levels.print_currents_among_volts,
    "a pin twice": levels.print_pin_twice,
    "waveform numbers": levels.print_waveform_numbers,
}
# Only these kinds can merge cells, or hold two tables that are told apart.
_KINDS_OF: dict[str, tuple[Kind, ...]] = {
    "merged cells": ("html", "xlsx"),
    "two parts in a file": ("html", "xlsx", "markdown"),
    "no headings": ("csv", "tsv", "semicolon", "xlsx", "html"),
}


def make_sheets() -> Iterator[Sheet]:
    """Yield all sheets, then text in the national encodings that spreadsheets export."""
    for place, quirk in enumerate(QUIRKS):
        kinds = _KINDS_OF.get(quirk, KINDS)
        for turn in range(_TURNS):
            kind = kinds[(place + turn) % len(kinds)]
            language = LANGUAGES[(place + turn * _LANGUAGE_STEP) % len(LANGUAGES)]
            yield make_sheet(quirk, kind, language, seed=place * _TURNS + turn)
    for seed, (language, encoding) in enumerate(ENCODINGS.items(), len(QUIRKS) * _TURNS):
        yield make_sheet("plain", "tsv", language, seed, encoding)


def make_sheet(
    quirk: str, kind: Kind, language: Language, seed: int, encoding: str = "utf-8"
) -> Sheet:
    """Return one sheet with an invented part of its own."""
    case = QUIRKS[quirk](Part(seed, language, kind))
    content = render(case.grids, kind, encoding)
    shown = quirk if encoding == "utf-8" else f"encoding {encoding}"
    return Sheet(shown, kind, language, f"zzt{seed:04}{SUFFIXES[kind]}", content, case)
