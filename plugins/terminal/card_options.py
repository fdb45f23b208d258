"""The options that ``pinfolio chip`` and ``pinfolio pin`` share."""

from __future__ import annotations

from pathlib import Path

import click

condition_option = click.option(
    "--condition", metavar="NAME", help="State of the set, such as 'no signal'."
)
svg_option = click.option(
    "--svg",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the drawing to FILE ('-' for standard output) as SVG.",
)
