"""``pinfolio share``, ``merge`` and ``shops``: notes handed to other shops and taken from them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from ..command_common import AnswerIsNo, json_option, print_json, terminal
from ..shop_options import asked_shop, shop_option, warn_of_personal, yes_option

if TYPE_CHECKING:
    from ....loaders.shop.known_shops import State
    from ....loaders.shop.merging import Plan

_MOST_ROWS: Final = 40  # of a plan on a terminal; --json has them all


@click.command("share", short_help="Write the shop's notes as one file for other shops.")
@click.option(
    "-o",
    "--out",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The bundle to write; an old one is replaced.",
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
def share_command(
    out: Path, chip: str | None, since: datetime | None, yes: bool, shop_folder: Path | None
) -> None:
    """Write a bundle of the shop's own notes, signed with its key.

    The same notes make the same file. What looks as if it led to a person is named first.

    \b
      pinfolio share -o our-notes.bundle
      pinfolio share -o jungle.bundle --chip TQZ5752 --since 2026-01-01
    """
    from ....loaders.shop.bundle_writing import notes_to_share, write_bundle

    day = since.date().isoformat() if since else None
    with asked_shop(shop_folder) as shop:
        notes = notes_to_share(shop, chip, day)
        if not notes:
            raise AnswerIsNo("There are no notes of your own to share, with these choices.")
        if warn_of_personal(notes) and not yes:
            click.confirm("Share them all the same?", abort=True, err=True)
        write_bundle(shop, notes, out)
    count = len({note.id for note in notes})
    click.echo(f"{out}: {_counted(count, 'note')}, {_counted(len(notes), 'revision')}")


@click.command("merge", short_help="Take in notes from other shops' files.")
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path)
)
@click.option("--accept-new", is_flag=True, help="Take notes from shops not known here before.")
@yes_option
@json_option
@shop_option
def merge_command(
    files: tuple[Path, ...], accept_new: bool, yes: bool, as_json: bool, shop_folder: Path | None
) -> None:
    """Verify bundles, show what they would bring, and on your word take it in.

    All of it comes in or none; the order of the files does not matter, nor merging one again.

    \b
      pinfolio merge theirs.bundle
      pinfolio merge stick/*.bundle --accept-new --yes
    """
    from ....loaders.shop.bundle_reading import read_bundle
    from ....loaders.shop.merging import apply, introduction, plan
    from ....schema.text import visible

    with asked_shop(shop_folder) as shop:
        planned = plan(shop, [read_bundle(file) for file in files])
        for why in planned.left_out:
            click.echo(visible(f"Left out: {why}"), err=True)
        if as_json:
            print_json(plan_document(planned))
        else:
            _print_plan(planned)
        if planned.unknown and not accept_new:
            raise AnswerIsNo(introduction(planned))
        if planned.is_empty:
            click.echo("Nothing to take in: all of it is here already.", err=as_json)
            return
        if not yes:
            click.confirm("Take it in?", abort=True, err=as_json)
        apply(planned, accept_new=accept_new)
    click.echo("Taken in; build the folio again to see it.", err=as_json)


@click.group("shops", invoke_without_command=True, short_help="The shops known here.")
@json_option
@shop_option
@click.pass_context
def shops_group(context: click.Context, as_json: bool, shop_folder: Path | None) -> None:
    """List the shops whose notes were taken in: trusted, known or muted, and how their keys read.

    \b
      pinfolio shops
      pinfolio shops trust bench-and-coil
      pinfolio shops mute bench-and-coil
    """
    from ....loaders.shop.known_shops import known_shops

    context.obj = shop_folder
    if context.invoked_subcommand is not None:
        return
    with asked_shop(shop_folder) as shop:
        known = known_shops(shop)
    if as_json:
        print_json(
            [
                {"shop": handle, "state": one.state, "fingerprint": one.fingerprint}
                for handle, one in known.items()
            ]
        )
        return
    rows = [(handle, one.state, one.fingerprint) for handle, one in known.items()]
    _print_table(("Shop", "State", "Key reads"), rows)
    if not known:
        click.echo("No other shop is known here yet; notes come with: pinfolio merge FILE")


@shops_group.command("trust", short_help="Trust a shop whose key was compared.")
@click.argument("handle")
@yes_option
@click.pass_obj
def trust_command(shop_folder: Path | None, handle: str, yes: bool) -> None:
    """Trust a shop, once its key was compared by voice; a muted one is heard again."""
    from ....loaders.shop.known_shops import known_shops

    with asked_shop(shop_folder) as shop:
        known = known_shops(shop).get(handle)
    if known is not None and not yes:
        click.echo(f"The key of {handle} reads {known.fingerprint}")
        click.confirm("Did they read the same to you?", abort=True)
    _set_state(shop_folder, handle, "trusted")


@shops_group.command("mute", short_help="Show no notes of a shop, and take none.")
@click.argument("handle")
@click.pass_obj
def mute_command(shop_folder: Path | None, handle: str) -> None:
    """Show no notes of a shop any more, and take none in; what came stays in its folder."""
    _set_state(shop_folder, handle, "muted")


def plan_document(planned: Plan) -> dict[str, Any]:
    """What merging would do, as JSON: how many notes of each sort, senders met first, each note."""
    return {
        "counts": planned.counts(),
        "unknown": {handle: one.fingerprint for handle, one in planned.unknown.items()},
        "notes": [
            {"what": one.what, **one.note.model_dump(mode="json", exclude_defaults=True)}
            for one in planned.coming
        ],
    }


def _print_plan(planned: Plan) -> None:
    changes = [one for one in planned.coming if one.what != "same"]
    rows = [
        (one.what, one.note.shop, one.note.chip, one.note.at, one.note.kind, one.note.date)
        for one in changes[:_MOST_ROWS]
    ]
    _print_table(("What", "Shop", "Chip", "Where", "Note", "Date"), rows)
    if len(changes) > _MOST_ROWS:
        click.echo(f"... and {len(changes) - _MOST_ROWS} more")
    click.echo(", ".join(f"{count} {what}" for what, count in planned.counts().items()))


def _print_table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    from rich.box import SIMPLE
    from rich.table import Table

    from ....schema.text import visible

    if not rows:
        return
    table = Table(*heads, box=SIMPLE, pad_edge=False)
    for row in rows:
        table.add_row(*map(visible, row))
    terminal().print(table)


def _set_state(shop_folder: Path | None, handle: str, state: State) -> None:
    from ....loaders.shop.known_shops import set_state

    with asked_shop(shop_folder) as shop:
        set_state(shop, handle, state)
    click.echo(f"{handle} is {state}.")


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}" + ("" if count == 1 else "s")
