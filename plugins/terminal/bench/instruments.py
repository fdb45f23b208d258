"""List the meters, probes, oscilloscopes, counters and component testers you can choose.

Ordinary instruments are built in. Your own are described in a text file, which this command checks;
without one, it shows where to put the file and an example.

\b
  pinfolio instruments
  pinfolio pin TQZ5752 46 --probe "x1 probe" --scope "analogue 20 MHz"
  pinfolio pin TQZ5752 9 --tester "component tester"
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import BadInput, json_option, open_console, print_json

if TYPE_CHECKING:
    from ....schema.instruments.models import ComponentTester, Counter, Meter, Probe, Scope


@click.command(help=__doc__)
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Check this file instead of your own.",
)
@json_option
def command(path: Path | None, as_json: bool) -> None:
    """Print the known instruments, the user's own among them. Raises BadInput."""
    from ....loaders.shop.instruments_file import (
        EXAMPLE,
        load_known_instruments,
        locate_instruments_file,
    )

    where = path or locate_instruments_file()
    # The usual file may be missing, but not one that was named.
    if path is not None and not path.is_file():
        raise BadInput(f"{path}: no such file; without --file your own is checked")
    known = load_known_instruments(where)
    if as_json:
        from ...instruments.known_instruments import describe_instruments

        print_json(describe_instruments(known, where))
        return
    _print("Meters", map(_describe_meter, known.meters.values()))
    _print("Probes", map(_describe_probe, known.probes.values()))
    _print("Oscilloscopes", map(_describe_scope, known.scopes.values()))
    _print("Counters", map(_describe_counter, known.counters.values()))
    _print("Component testers", map(_describe_tester, known.testers.values()))
    if where.is_file():
        click.echo(f"Your own are in {where}; the file has no faults.")
    else:
        click.echo(f"Your own can be described in {where}. For example:\n\n{EXAMPLE}")


def _describe_meter(meter: Meter) -> tuple[str, ...]:
    if meter.input_resistance is not None:
        accuracy = f"{meter.dc_percent} + {meter.dc_counts} counts"
        return meter.name, meter.describes, str(meter.input_resistance), accuracy
    accuracy = f"{meter.dc_percent} of full scale"
    return meter.name, meter.describes, f"{meter.ohms_per_volt} per volt", accuracy


def _describe_probe(probe: Probe) -> tuple[str, ...]:
    load = f"{probe.resistance}, {probe.capacitance}"
    return probe.name, probe.describes, load, f"{probe.bandwidth}, {probe.rating} peak"


def _describe_scope(scope: Scope) -> tuple[str, ...]:
    sampling = "analogue"
    if scope.sort == "digitising":
        samples = f"{scope.record_length} samples"
        sampling = f"{scope.bits} bits, {scope.sample_rate} sampling, {samples}"
    return scope.name, scope.describes, f"{scope.bandwidth}, {scope.rating} peak", sampling


def _describe_counter(counter: Counter) -> tuple[str, ...]:
    return counter.name, counter.describes, str(counter.timebase_percent)


def _describe_tester(tester: ComponentTester) -> tuple[str, ...]:
    drive = f"{tester.open_voltage} RMS through {tester.source_resistance}"
    return tester.name, tester.describes, drive, str(tester.frequency)


def _print(title: str, rows: Iterable[tuple[str, ...]]) -> None:
    from rich import box
    from rich.table import Table

    from ....schema.text import visible

    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left", show_header=False)
    for row in rows:
        table.add_row(*map(visible, row))
    open_console().print(table)
