"""Try a part from the scrap box in place of another.

The circuit is solved with the substitute; for frequency-setting parts the result is compared with
the pull-in range. Exit status 1: no candidate will do.

\b
  pinfolio substitute TQZ5752 C712 --with 2.2u
  pinfolio substitute KYE2620 C501 --box "1n, 2n2, 3n3, 4n7"
"""

from __future__ import annotations

from pathlib import Path

import click

from ..command_common import AnswerIsNo, folio_option, json_option, open_chosen_folio, print_json


@click.command(help=__doc__)
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
def command(
    part: str,
    ref: str,
    candidates: tuple[str, ...],
    box: str | None,
    as_json: bool,
    folio: Path | None,
) -> None:
    """Print a verdict on each candidate. Raises AnswerIsNo if none of them will do."""
    from ...diagnosis.substitution.substitute import try_substitutes
    from ...search.marking_lookup import find_chip

    if not candidates and not box:
        raise click.UsageError("Say what to fit: --with VALUE or --box VALUES.")
    box_values = [text.strip() for text in (box or "").split(",") if text.strip()]
    with open_chosen_folio(folio) as opened:
        answer = try_substitutes(find_chip(opened, part), ref, candidates, box_values)
    if as_json:
        print_json(answer.document())
    else:
        replaced = answer.part
        click.echo(
            f"{answer.chip.part}, in place of {replaced.ref} {replaced.kind} {replaced.value}:"
        )
        for judged in answer.verdicts:
            # A value between the preferred ones (IEC 60063) is more likely a misreading.
            preferred = f" (nearest preferred value {judged.preferred})" if judged.preferred else ""
            click.echo(
                f"  {judged.verdict:7} {judged.candidate.text}{preferred}: {judged.sentence}"
            )
    if answer.none_will_do:
        raise AnswerIsNo("nothing of this will do here")
