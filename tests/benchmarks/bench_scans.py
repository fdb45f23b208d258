"""How well scanned data sheets are read: symbols and numbers right, marked as doubtful, or false.

The sheets are made by ``scanned_sheets`` at 150 and 300 dpi, with skew, noise, stains and JPEG. The
seeds of a report are not those that the reader was tuned with (1 to 99). Set PINFOLIO_SCANS to
the first seed and the number of sheets: ``1000+6``.
"""

from __future__ import annotations

import os
import time
from collections import Counter
from dataclasses import dataclass, field

import pytest
from pinfolio.loaders.drafting.data_sheet_pdf import read_scanned_pages
from pinfolio.loaders.drafting.pin_table import PinTable
from pinfolio.loaders.scans.limited_scans import recognise_pages
from pinfolio.schema.quantities import parse_quantity
from rapidfuzz import fuzz, process
from scanned_sheets import Limits, Sheet, make_sheet, pack_pages, scan_sheet

SEEDS = os.environ.get("PINFOLIO_SCANS", "1000+3")
RESOLUTIONS_DPI = (150, 300)
LEAST_SYMBOLS, LEAST_NUMBERS, MOST_MARKED, MOST_FALSE = 0.97, 0.98, 0.10, 0.003
SURE_ENOUGH = 80  # of 100, rapidfuzz ratio of the name of a parameter


@dataclass
class Score:
    """Counts of values by sort and outcome, and the values that are false or lost."""

    counts: Counter[tuple[str, str]] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)

    def add(self, sort: str, outcome: str, about: str) -> None:
        """Count one value."""
        self.counts[sort, outcome] += 1
        if outcome in ("false", "lost"):
            self.errors.append(f"{outcome} {sort}: {about}")

    def share(self, sort: str, *outcomes: str) -> float:
        """Return the share of the values of a sort (all if empty) with one of these outcomes."""
        total = sum(n for (each, _), n in self.counts.items() if sort in ("", each))
        hits = sum(
            n for (each, end), n in self.counts.items() if sort in ("", each) and end in outcomes
        )
        return hits / total if total else 0.0


def score_table(sheet: Sheet, table: PinTable, score: Score) -> None:
    """Compare everything read from a scan with the values printed on the sheet."""
    listed = " ".join(str(unread) for unread in table.unread)
    pins = {pin.number: pin for pin in table.pins}
    for number, symbol in sheet.symbols.items():
        pin = pins.get(number)
        read = pin.texts.get("symbol", "") if pin else ""
        is_marked = (pin is not None and "symbol" in pin.unreadable) or symbol in listed
        score.add("symbol", _judge(read, symbol, is_marked), f"pin {number} {symbol!r} as {read!r}")
        dc = pin.dc.get("") if pin else None
        is_marked = (pin is not None and "dc@" in pin.unreadable) or (
            f"{number} | {symbol}" in listed
        )
        wanted, read = _write_limits(sheet.dc[number], "V"), str(dc.quantity) if dc else ""
        outcome = _judge(_normalise(read), _normalise(wanted), is_marked)
        score.add("number", outcome, f"DC of pin {number} {wanted!r} as {read!r}")
    for number in pins.keys() - sheet.symbols.keys():
        score.add("number", "false", f"pin {number}")
    _score_parameters(sheet, table, score)


def _score_parameters(sheet: Sheet, table: PinTable, score: Score) -> None:
    read = {parameter.name: str(parameter.value) for parameter in table.parameters}
    for name, (limits, unit) in sheet.parameters.items():
        wanted = _write_limits(limits, unit)
        near = process.extractOne(name, list(read), scorer=fuzz.ratio, score_cutoff=SURE_ENOUGH)
        value = read.pop(near[0]) if near else ""
        is_marked = any(
            fuzz.partial_ratio(name, unread.text) >= SURE_ENOUGH for unread in table.unread
        )
        outcome = _judge(_normalise(value), _normalise(wanted), is_marked)
        score.add("number", outcome, f"{name} {wanted!r} as {value!r}")
    for name, value in read.items():
        score.add("number", "false", f"parameter {name!r} {value}")


def _judge(read: str, wanted: str, is_marked: bool) -> str:
    if read:
        return "right" if read == wanted else "false"
    return "marked" if is_marked else "lost"


def _write_limits(limits: Limits, unit: str) -> str:
    low, typical, high = limits
    if typical and not low and not high:
        return f"{typical} {unit}"
    pairs = zip(("min", "typ", "max"), limits, strict=True)
    words = [f"{word} {text} {unit}" for word, text in pairs if text]
    return f"{low} {unit} .. {high} {unit}" if low and high and not typical else " ".join(words)


def _normalise(text: str) -> str:
    """Return a quantity by its values in base units, so that spelling does not count."""
    if not text:
        return ""
    for unit in ("Vpp", "V", "Hz", "Ω", "A", "W", "dB", "s", "°C", "F"):
        try:
            quantity = parse_quantity(text, unit)
        except ValueError:
            continue
        return f"{quantity.low} {quantity.typ} {quantity.high} {unit}"
    return text


@pytest.fixture(scope="module")
def cases() -> list[tuple[Sheet, int, bytes]]:
    first, _, count = SEEDS.partition("+")
    return [
        (sheet, dpi, pack_pages(scan_sheet(sheet, dpi, seed), dpi))
        for seed in range(int(first), int(first) + int(count))
        for sheet in [make_sheet(seed)]
        for dpi in RESOLUTIONS_DPI
    ]


def test_scans(cases: list[tuple[Sheet, int, bytes]], capsys: pytest.CaptureFixture[str]) -> None:
    """Symbols and numbers against the bounds that a draft has to keep."""
    score, seconds = Score(), []
    for sheet, dpi, data in cases:
        start_s = time.perf_counter()
        pages = recognise_pages(data)
        seconds.append((time.perf_counter() - start_s) / len(pages))
        one = Score()
        score_table(sheet, read_scanned_pages(pages, "scan.pdf"), one)
        score.counts += one.counts
        score.errors += [f"{sheet.part} at {dpi} dpi: {error}" for error in one.errors]
    with capsys.disabled():
        print(f"\n{len(cases)} sheets, {sum(score.counts.values())} values")
        print(f"symbols right {score.share('symbol', 'right'):.1%}")
        print(f"numbers right or marked {score.share('number', 'right', 'marked'):.1%}")
        print(f"marked {score.share('', 'marked'):.1%}, false {score.share('', 'false'):.2%}")
        print(f"seconds a page, with the start of the process: {max(seconds):.1f} at most")
        print(*score.errors, sep="\n")
    assert score.share("symbol", "right") >= LEAST_SYMBOLS
    assert score.share("number", "right", "marked") >= LEAST_NUMBERS
    assert score.share("", "marked") <= MOST_MARKED
    assert score.share("", "false") <= MOST_FALSE
