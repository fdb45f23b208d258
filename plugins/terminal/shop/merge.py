"""Merge other shops' bundles.

Verify bundles, preview the changes, and merge after confirmation. Either everything is merged or
nothing; the order of the files does not matter, and merging a bundle twice changes nothing.

\b
  pinfolio merge theirs.bundle
  pinfolio merge stick/*.bundle --accept-new --yes
  pinfolio merge theirs.bundle --as bench-north   # another shop has their name here
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ..command_common import AnswerIsNo, json_option, print_json
from ..shop_options import (
    count_set_aside,
    open_chosen_shop,
    report_set_aside,
    shop_option,
    yes_option,
)
from ..tables.shop_tables import print_rows

if TYPE_CHECKING:
    from ....loaders.shop.merging import NoteChange, Plan

_MOST_ROWS: Final = 40  # of a plan on a terminal; --json has them all


@click.command(help=__doc__)
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path)
)
@click.option("--accept-new", is_flag=True, help="Accept notes from shops not known here yet.")
@click.option("--as", "name", metavar="NAME", help="Name here for a shop not known yet.")
@yes_option
@json_option
@shop_option
def command(
    files: tuple[Path, ...],
    accept_new: bool,
    name: str | None,
    yes: bool,
    as_json: bool,
    shop_folder: Path | None,
) -> None:
    """Merge bundles after showing their changes. Raises AnswerIsNo for unknown senders."""
    from ....loaders.shop.bundle_reading import read_bundle
    from ....loaders.shop.merging import apply_plan, describe_unknown_senders, plan_merge
    from ....schema.text import visible
    from ...notes.note_documents import describe_plan

    shop = open_chosen_shop(shop_folder, to_change=True)
    planned = plan_merge(shop, [read_bundle(file) for file in files], name)
    report_set_aside(planned.set_aside)
    for why in planned.left_out:
        click.echo(visible(f"Left out: {why}"), err=True)
    if as_json:
        print_json(describe_plan(planned))
    else:
        _print_plan(planned)
    _print_keys(planned, as_json)
    if planned.unknown and not accept_new:
        raise AnswerIsNo(describe_unknown_senders(planned))
    if planned.is_empty:
        click.echo("Nothing to merge: everything is here already.", err=as_json)
        return
    if not yes:
        click.confirm("Merge?", abort=True, err=as_json)
    apply_plan(planned, accept_new=accept_new)
    count = count_set_aside(planned.set_aside)
    click.echo(f"Merged{count}; build the folio again to see it.", err=as_json)


def _print_keys(planned: Plan, as_json: bool) -> None:
    """Print the key of each shop that is new or changed its key, whatever was confirmed."""
    for name, one in planned.unknown.items():
        click.echo(f"New shop {name}: its key reads {one.fingerprint}", err=as_json)
    for name, one in planned.changed_keys.items():
        trust = f"compare it by telephone, then: pinfolio shops trust {name}"
        click.echo(f"{name} changed its key; it reads {one.fingerprint} now; {trust}", err=as_json)
    for name, statements in planned.statements.items():
        for statement in statements:
            if statement.kind == "revocation":
                whose = name or planned.shop.handle
                words = f"{whose} revoked its device {statement.name} on {statement.date}"
                click.echo(words, err=as_json)


def _print_plan(planned: Plan) -> None:
    changes = [one for one in planned.coming if one.what != "same"]
    rows = [
        (one.what, one.note.shop, one.note.chip, one.note.at, one.note.kind, one.note.date)
        for one in changes[:_MOST_ROWS]
    ]
    print_rows(("What", "Shop", "Chip", "Where", "Note", "Date"), rows)
    for one in changes[:_MOST_ROWS]:
        if one.before is not None:
            _print_before_and_after(one)
    if len(changes) > _MOST_ROWS:
        click.echo(f"... and {len(changes) - _MOST_ROWS} more")
    click.echo(", ".join(f"{count} {what}" for what, count in planned.counts().items()))


def _print_before_and_after(change: NoteChange) -> None:
    """Print a note as it is, and as it will be after merging or as another shop proposes it."""
    from ....schema.text import visible
    from ...notes.note_view import RevisionView

    if change.before is None:
        return
    note = change.before
    after = "Proposed" if change.what == "proposed" else "After"
    words = "withdrawn" if change.note.withdrawn else RevisionView(change.note).sentence
    click.echo(visible(f"{note.chip} {note.at} ({note.id[:6]})"))
    click.echo(visible(f"  Before    {RevisionView(note).sentence}"))
    click.echo(visible(f"  {after:<9} {words}"))
