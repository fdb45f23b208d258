"""``pinfolio figure``: points read off a drawn waveform become a line of a chip file."""

from __future__ import annotations

import click

from ..command_common import BadInput, json_option, print_json


@click.command("figure", short_help="A waveform drawn in a data sheet, from its points.")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, allow_dash=True))
@click.option(
    "--within",
    default="5 %",
    show_default=True,
    help="Largest rms error of a known kind, of the peak to peak.",
)
@click.option("--repeat", metavar="TIME", help="When it starts again. Else after the time drawn.")
@json_option
def figure_command(file: str, within: str, repeat: str | None, as_json: bool) -> None:
    """Turn the points of a figure into a waveform to paste under an expectation.

    FILE ('-' for standard input) holds a point a line, time and level, under a line with the units
    of the axes; or pixels, with two marks of known value for each axis. A known kind is
    taken where one fits, else a polyline through the points; comments say which and how well.

    \b
      µs V        pixels
      0  0.2      x 100 = 0 µs
      12 0.2      x 740 = 64 µs
      12 5.0      y 400 = 0 V
      64 5.0      y 80 = 5 V
                  100 387
    """
    from ....loaders.drafting.figure_points import FigureError, read_figure_points
    from ....schema.figures import fit_figure
    from ....schema.text import visible
    from ...contributing.drawn_figure import figure_document, figure_lines

    share = _quantity("--within", within, "%") / 100
    repeat_s = None if repeat is None else _quantity("--repeat", repeat, "s")
    with click.open_file(file, "rb") as opened:
        data = opened.read()
    try:
        points = read_figure_points(data, "standard input" if file == "-" else file)
    except FigureError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
    try:
        fit = fit_figure(points.t_s, points.v, repeat_s, share)
    except ValueError as refused:
        raise click.BadParameter(str(refused), param_hint="--repeat") from None
    if as_json:
        print_json(figure_document(fit))
    else:
        click.echo("\n".join(figure_lines(fit)))


def _quantity(option: str, text: str, unit: str) -> float:
    """A number above zero, in SI units or percent."""
    from ....schema.quantities import UNITS, QuantityError, parse_quantity

    try:
        value = parse_quantity(text, unit).nominal
    except QuantityError as refused:
        raise click.BadParameter(str(refused), param_hint=option) from None
    if not value > 0:
        called, example = UNITS[unit]
        raise click.BadParameter(
            f"found {text!r}, expected {called} above zero; write {example!r}", param_hint=option
        )
    return value
