"""The questions of ``pinfolio new --measure``: pin by pin, each answer saved at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ...loaders.system.shell_words import quote_word
from ...schema.text import format_count, visible
from .command_common import BadInput

if TYPE_CHECKING:
    from ...schema import Chip
    from ..contributing.measured_pins import MeasuredPin

_SKIP, _BACK, _STOP = _WORDS = ("skip", "back", "stop")
_HELP: Final = "An empty line or skip leaves a pin out, back returns to the one before, stop ends."
_CAUTION: Final = (
    "Live sets kill: isolation transformer, one hand, never earth a scope lead to a live chassis."
)


def measure_chip(part: str, package: str | None, kind: str | None, out: Path | None) -> None:
    """Ask for pins and write each into the chip file, which is begun if it does not exist."""
    from ...loaders.chip_files.part_name import PartError, make_file_name

    try:
        name = make_file_name(part)
    except PartError as refused:
        raise BadInput(visible(str(refused))) from None
    if out is None:
        file = Path(name)
    else:
        file = out / name if out.is_dir() else out
    click.echo(_CAUTION, err=True)
    try:
        if not file.exists():
            _begin(part, package, kind, file)
        click.echo(_HELP, err=True)
        _ask_pins(file)
    except (click.Abort, EOFError):
        click.echo("", err=True)  # every pin is written at once, so leaving loses none
    if file.exists():
        _print_state(file)


def _begin(part: str, package: str | None, kind: str | None, file: Path) -> None:
    """Ask for ground and a supply, without which no chip file is whole, and write the file."""
    from ...schema.errors import Unusable
    from ..contributing.begun_chip import count_pins
    from ..contributing.measured_pins import MeasuredPin, begin_measured_chip
    from .new_file import write_chip_file

    package = package or str(click.prompt("Package, such as SDIP-42", err=True))
    kind = kind or str(click.prompt("Kind, such as jungle", err=True))
    try:
        pin_numbers = click.IntRange(1, count_pins(part, package, kind))
        ground_pin = click.prompt("Ground: pin number", type=pin_numbers, err=True)
        supply_pin = click.prompt("Supply: pin number", type=pin_numbers, err=True)
        symbol = click.prompt("Supply: symbol", default="VCC", err=True)
        reading_v = click.prompt("Supply: reading in volts", err=True)
        supply = MeasuredPin(supply_pin, symbol, reading_v)
        text = begin_measured_chip(part, package, kind, ground_pin, supply)
    except Unusable as refused:
        raise BadInput(visible(str(refused))) from None
    write_chip_file(file, part, text)


def _ask_pins(file: Path) -> None:
    """Ask for the pins not measured yet, in order, until there are none or stop is typed."""
    from ..contributing.begun_chip import CONDITION_AS_FOUND
    from ..contributing.completeness import list_unmeasured

    pin_numbers = list_unmeasured(_load(file))
    condition = CONDITION_AS_FOUND
    index = 0
    while index < len(pin_numbers):
        answer = _ask_pin(pin_numbers[index], condition)
        if answer == _STOP:
            return
        if isinstance(answer, str):
            index = max(index - 1, 0) if answer == _BACK else index + 1
            continue
        # The set usually stays in one condition, so the last one is offered for the next pin.
        condition = answer.condition
        if _save(file, answer):
            index += 1


def _ask_pin(number: int, condition: str) -> MeasuredPin | str:
    """Return the answers for one pin, or the word that leaves it."""
    from ..contributing.measured_pins import MeasuredPin

    answers = {"symbol": "", "dc": "", "condition": condition, "function": ""}
    labels = {
        "symbol": f"Pin {number}: symbol",
        "dc": "  reading in volts, or empty",
        "condition": "  condition of the set",
        "function": "  function, if known",
    }
    for key, label in labels.items():
        # Without a reading there is no condition that it was taken in.
        if key == "condition" and not answers["dc"]:
            continue
        typed = click.prompt(label, default=answers[key], show_default=key == "condition", err=True)
        answer = " ".join(str(typed).split())
        if answer.lower() in _WORDS:
            return answer.lower()
        answers[key] = answer
        if not answers["symbol"]:
            return _SKIP
    return MeasuredPin(number, **answers)


def _save(file: Path, measured: MeasuredPin) -> bool:
    """Write one pin into the file; return False, with the reason printed, if it is refused."""
    from ...loaders.chip_files.chip_file import read_chip_bytes
    from ...loaders.errors import ChipFileError
    from ...loaders.system.atomic_write import write_atomically
    from ..contributing.measured_pins import CannotTake, add_measured_pin

    try:
        text = read_chip_bytes(file).decode("utf-8-sig")
        text, doubt = add_measured_pin(text, str(file), measured)
    except CannotTake as refused:
        click.echo(visible(f"  not taken: {refused}"), err=True)
        return False
    except ChipFileError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
    write_atomically(file, text)
    if doubt:
        click.echo(visible(f"  doubtful: {doubt}"), err=True)
    return True


def _load(file: Path) -> Chip:
    from ...loaders.chip_files.chip_file import load_chip
    from ...loaders.errors import ChipFileError

    try:
        return load_chip(file)
    except ChipFileError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None


def _print_state(file: Path) -> None:
    """Print how many pins are measured, and the commands that go on from here."""
    from ..contributing.completeness import list_unmeasured

    chip = _load(file)
    missing = list_unmeasured(chip)
    known = format_count(len(chip.pins) - len(missing), "pin")
    shown, word = visible(str(file)), quote_word(file)
    click.echo(f"{shown}: {known} of {len(chip.pins)} known")
    if missing:
        click.echo(f"go on another day: pinfolio new {quote_word(chip.part)} --measure -o {word}")
    own_folio = quote_word(file.with_suffix(".db").name)  # replaces no other folio
    click.echo(f"use it now: pinfolio build {word} -o {own_folio}")
