"""Write the shop's notes as one bundle for other shops.

The bundle is signed with the shop's key; the same notes make the same file. Possible personal data
is listed before you confirm.

\b
  pinfolio share -o our-notes.bundle
  pinfolio share -o jungle.bundle --chip TQZ5752 --since 2026-01-01
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..command_common import AnswerIsNo
from ..shop_options import (
    count_set_aside,
    open_chosen_shop,
    report_set_aside,
    shop_option,
    warn_of_personal_data,
    yes_option,
)

if TYPE_CHECKING:
    from ....loaders.errors import Fault


@click.command(help=__doc__)
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Bundle to write; an existing one is replaced.",
)
@click.option("--chip", metavar="PART", help="Only the notes on this chip.")
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="Only the notes written or changed since this day, such as 2026-11-25.",
)
@yes_option
@shop_option
def command(
    out: Path, chip: str | None, since: datetime | None, yes: bool, shop_folder: Path | None
) -> None:
    from ....loaders.shop.bundle_writing import select_notes_to_share, write_bundle
    from ....schema.text import format_count

    day = since.date().isoformat() if since else None
    shop = open_chosen_shop(shop_folder)
    set_aside: list[Fault] = []
    notes = select_notes_to_share(shop, chip, day, set_aside)
    report_set_aside(set_aside)
    if not notes:
        raise AnswerIsNo("There are no notes of your own to share, with these choices.")
    if warn_of_personal_data(notes) and not yes:
        click.confirm("Share them all the same?", abort=True, err=True)
    write_bundle(shop, notes, out)
    count = len({note.id for note in notes})
    click.echo(
        f"{out}: {format_count(count, 'note')}, {format_count(len(notes), 'revision')}"
        + count_set_aside(set_aside)
    )
