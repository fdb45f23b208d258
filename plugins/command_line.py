"""The command ``pinfolio``: each of its commands is imported when it is called, not before."""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

# Where each command lives, in the order of the help: module, name of the command in it. Then what
# the help says of it, here too, so that the help need not import them all.
COMMANDS: Final[dict[str, tuple[str, str, str]]] = {
    "find": (".search.commands", "find_command", "What is this chip? Which pin does that?"),
    "chip": (".cards.commands", "chip_command", "A chip at a glance: its pins in a table."),
    "pin": (".cards.commands", "pin_command", "The card of one pin: what it should show."),
    "check": (".readings.commands", "check_command", "Is what I measured right?"),
    "faultfind": (
        ".faultfinding.commands",
        "faultfind_command",
        "What is suspect, and where do I probe next?",
    ),
    "substitute": (
        ".faultfinding.substitute_commands",
        "substitute_command",
        "Will a part from the scrap box do?",
    ),
    "instruments": (
        ".instruments.commands",
        "instruments_command",
        "The meters, probes and oscilloscopes to choose from.",
    ),
    "figure": (
        ".contributing.figure_commands",
        "figure_command",
        "A waveform drawn in a data sheet, from its points.",
    ),
    "compare": (
        ".contributing.compare_commands",
        "compare_command",
        "Can this chip stand in for that one?",
    ),
    "shop": (".notes.shop_commands", "shop_group", "Make a shop's folder; show its key."),
    "note": (
        ".notes.note_commands",
        "note_group",
        "Notes of the shop: add, edit, list, show, withdraw.",
    ),
    "share": (
        ".notes.share_commands",
        "share_command",
        "Write the shop's notes as one file for other shops.",
    ),
    "merge": (".notes.share_commands", "merge_command", "Take in notes from other shops' files."),
    "shops": (".notes.share_commands", "shops_group", "The shops known here."),
    "serve": (".serving.commands", "serve_command", "Show a folio in a browser."),
    "demo": (".serving.commands", "demo_command", "Build and show the demonstration folio."),
    "new": (".contributing.new_commands", "new_command", "Begin a chip file."),
    "draft": (
        ".contributing.draft_commands",
        "draft_command",
        "A first chip file from a table of pins or a data sheet.",
    ),
    "lint": (
        ".contributing.lint_commands",
        "lint_command",
        "Faults of chip files, and advice on them.",
    ),
    "rules": (
        ".contributing.lint_commands",
        "rules_command",
        "What each rule of chip files is for.",
    ),
    "format": (
        ".contributing.lint_commands",
        "format_command",
        "Put chip files in canonical form.",
    ),
    "build": (".building.commands", "build_command", "Make a folio from chip files and notes."),
    "preview": (
        ".contributing.preview_commands",
        "preview_command",
        "A chip file as its pages, while you write it.",
    ),
    "publish": (".publishing.commands", "publish_command", "Lay a folio out for any web server."),
    "fetch-folio": (
        ".publishing.commands",
        "fetch_command",
        "Bring a published folio here, over the network.",
    ),
    "pool-readings": (
        ".publishing.pooling_commands",
        "pool_command",
        "Readings of good sets as a Parquet table.",
    ),
    "schema": (".building.commands", "schema_command", "The JSON Schema of a chip file."),
}


class _Commands(click.Group):
    """A group that imports a command when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        command = getattr(import_module(module, __package__), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, told) for name, (_, _, told) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            self._refuse(ctx, args[0])
        return super().resolve_command(ctx, args)

    def _refuse(self, ctx: click.Context, word: str) -> None:
        from rapidfuzz import process

        near = process.extractOne(word, list(COMMANDS), score_cutoff=60)
        hint = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(COMMANDS)}."
        ctx.fail(f"No command {word!r}; {hint} A marking is looked up with: pinfolio find {word}")


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pinfolio", message="%(prog)s %(version)s")
def main() -> None:
    """What should be on this pin? A folio of pin cards for the repair bench, offline."""
