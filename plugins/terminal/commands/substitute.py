"""``pinfolio substitute``: will this part from the scrap box do?"""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import AnswerIsNo, asked_folio, folio_option, json_option, print_json


@click.command("substitute", short_help="Will a part from the scrap box do?")
@click.argument("part")
@click.argument("ref")
@click.option(
    "--with",
    "candidates",
    multiple=True,
    metavar="VALUE",
    help="What to fit: '27n', '27n 63V', '22n parallel 4n7'. May be given again.",
)
@click.option(
    "--box",
    metavar="VALUES",
    help="What the box holds, between commas: every one and every two are tried.",
)
@json_option
@folio_option
def substitute_command(
    part: str,
    ref: str,
    candidates: tuple[str, ...],
    box: str | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Work out what another value does in the place of a part around a chip.

    The circuit is solved with it in place; what sets a frequency is held against what is caught.
    Exit status 1 when nothing will do.

    \b
      pinfolio substitute TQZ5752 C712 --with 2.2u
      pinfolio substitute KYE2620 C501 --box "1n, 2n2, 3n3, 4n7"
    """
    from ...faultfinding.substitute import DO_NOT, candidate, from_box, judged, part_named
    from ...faultfinding.worked_out import working_condition
    from ...search.marking_lookup import find_chip

    if not candidates and not box:
        raise click.UsageError("Say what to fit: --with VALUE or --box VALUES.")
    with asked_folio(folio) as opened:
        chip = find_chip(opened, part)
        place = part_named(chip, ref)
        tried = [candidate(text, place) for text in candidates]
        if box:
            tried += from_box((text.strip() for text in box.split(",") if text.strip()), place)
        found = judged(chip, place, tried, working_condition(chip))
    if as_json:
        print_json({"part": chip.part, "ref": place.ref, "value": place.value,
                    "candidates": [one.document() for one in found]})  # fmt: skip
    else:
        click.echo(f"{chip.part}, in place of {place.ref} {place.kind} {place.value}:")
        for one in found:
            click.echo(f"  {one.verdict:7} {one.candidate.text}: {'; '.join(one.why)}")
    if all(one.verdict == DO_NOT for one in found):
        raise AnswerIsNo("nothing of this will do here")
