"""List the meters, probes, oscilloscopes and counters you can choose.

Ordinary instruments are built in. Your own are described in a text file, which this command checks;
without one, it shows where to put the file and an example.

\b
  pinfolio instruments
  pinfolio pin TQZ5752 46 --probe "x1 probe" --scope "analogue 20 MHz"
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import BadInput, json_option, open_console, print_json

if TYPE_CHECKING:
    from ....schema.instruments import KnownInstruments, Scope


@click.command(help=__doc__)
@click.option(
    "--file",
    "path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Check this file instead of your own.",
)
@json_option
def command(path: Path | None, as_json: bool) -> None:
    from ....loaders.shop.instruments_file import (
        EXAMPLE,
        load_known_instruments,
        locate_instruments_file,
    )

    where = path or locate_instruments_file()
    if path is not None and not path.is_file():
        raise BadInput(f"{path}: no such file; without --file your own is checked")
    known = load_known_instruments(where)
    if as_json:
        lists = {
            sort: [one.model_dump(mode="json") for one in named.values()]
            for sort, named in vars(known).items()
        }
        print_json({"file": str(where), "there": where.is_file(), **lists})
        return
    for title, rows in _tables(known):
        _print(title, rows)
    if where.is_file():
        click.echo(f"Your own are in {where}; the file has no faults.")
    else:
        click.echo(f"Your own can be described in {where}. For example:\n\n{EXAMPLE}")


def _tables(known: KnownInstruments) -> Iterator[tuple[str, Iterable[tuple[str, ...]]]]:
    yield (
        "Meters",
        [
            (
                m.name,
                m.describes,
                str(m.input_resistance or f"{m.ohms_per_volt} per volt"),
                f"{m.dc_percent}"
                + (f" + {m.dc_counts} counts" if m.input_resistance else " of full scale"),
            )
            for m in known.meters.values()
        ],
    )
    yield (
        "Probes",
        [
            (
                p.name,
                p.describes,
                f"{p.resistance}, {p.capacitance}",
                f"{p.bandwidth}, {p.rating} peak",
            )
            for p in known.probes.values()
        ],
    )
    yield (
        "Oscilloscopes",
        [
            (s.name, s.describes, f"{s.bandwidth}, {s.rating} peak", _sampling(s))
            for s in known.scopes.values()
        ],
    )
    yield (
        "Counters",
        [(c.name, c.describes, str(c.timebase_percent)) for c in known.counters.values()],
    )


def _sampling(scope: Scope) -> str:
    if scope.sort == "analogue":
        return "analogue"
    return f"{scope.bits} bits, {scope.sample_rate} sampling, {scope.record_length} samples"


def _print(title: str, rows: Iterable[tuple[str, ...]]) -> None:
    from rich import box
    from rich.table import Table

    from ....schema.text import visible

    table = Table(box=box.SIMPLE_HEAD, title=title, title_justify="left", show_header=False)
    for row in rows:
        table.add_row(*map(visible, row))
    open_console().print(table)
