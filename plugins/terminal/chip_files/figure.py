"""Turn points read off a drawn waveform into a waveform to paste.

FILE ('-' for standard input) holds one point per line, time and level, below a line with the units
of the axes; or pixels, with two marks of known value on each axis. A known kind of waveform is used
if one fits, otherwise a polyline; comments name the kind and the error of the fit.

\b
  µs V        pixels
  0  0.2      x 100 = 0 µs
  12 0.2      x 740 = 64 µs
  12 5.0      y 400 = 0 V
  64 5.0      y 80 = 5 V
              100 387
"""

from __future__ import annotations

from typing import Final

import click

from ..command_common import BadInput, json_option, print_json

_PERCENT: Final = 100


@click.command(help=__doc__)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True))
@click.option(
    "--within",
    default="5 %",
    show_default=True,
    help="Largest rms error of a known kind, relative to the peak-to-peak value.",
)
@click.option("--repeat", metavar="TIME", help="Repetition time; default: the time drawn.")
@json_option
def command(file: str, within: str, repeat: str | None, as_json: bool) -> None:
    """Print the waveform fitted to the points of a drawn figure. Raises BadInput."""
    from ....loaders.captures.figure_points import MOST_BYTES, FigureError, read_figure_points
    from ....schema.figures import fit_figure
    from ....schema.text import visible
    from ...contributing.drawn_figure import make_figure_document, write_figure_lines

    tolerance_share = _parse_positive("--within", within, "%") / _PERCENT
    repeat_s = None if repeat is None else _parse_positive("--repeat", repeat, "s")
    with click.open_file(file, "rb") as opened:
        data = opened.read(MOST_BYTES + 1)
    try:
        points = read_figure_points(data, "standard input" if file == "-" else file)
    except FigureError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
    try:
        fit = fit_figure(points.t_s, points.v, repeat_s, tolerance_share)
    except ValueError as refused:
        raise click.BadParameter(str(refused), param_hint="--repeat") from None
    if as_json:
        print_json(make_figure_document(fit))
    else:
        click.echo("\n".join(write_figure_lines(fit)))


def _parse_positive(option: str, text: str, unit: str) -> float:
    """Return a number above zero, in SI units or percent. Raises BadParameter."""
    from ....schema.quantities import UNITS, QuantityError, parse_quantity

    try:
        value = parse_quantity(text, unit).nominal
    except QuantityError as refused:
        raise click.BadParameter(str(refused), param_hint=option) from None
    if value > 0:
        return value
    unit_name, example = UNITS[unit]
    raise click.BadParameter(
        f"{text!r} is not {unit_name} above zero; write {example!r}", param_hint=option
    )
