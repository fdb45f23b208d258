"""Print the JSON Schema of a chip file, for editors that check and complete.

\b
  pinfolio schema > chip.schema.json
"""

from __future__ import annotations

import click

from ..command_common import print_json


@click.command(help=__doc__)
def command() -> None:
    from ....schema.file_format.json_schema import chip_json_schema

    print_json(chip_json_schema())
