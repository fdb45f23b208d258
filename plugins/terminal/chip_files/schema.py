"""Print the JSON Schema of a chip file, or of a document that --json prints.

That of a chip file is for editors that check and complete; those of documents are for programs
that read the answers. --of without a name lists the documents.

\b
  pinfolio schema > chip.schema.json
  pinfolio schema --of find
  pinfolio schema --of
"""

from __future__ import annotations

import click

from ..command_common import print_json


@click.command(help=__doc__)
@click.option(
    "--of",
    "document",
    is_flag=False,
    flag_value="",
    metavar="[NAME]",
    help="Print the schema of this document; without NAME list the documents.",
)
def command(document: str | None) -> None:
    if document is None:
        from ....schema.file_format.json_schema import chip_json_schema

        print_json(chip_json_schema())
        return
    from ...documents.published_schemas import list_document_names, load_document_schema

    if document:
        print_json(load_document_schema(document))
        return
    for name in list_document_names():
        click.echo(f"{name:20}{load_document_schema(name)['title']}")
