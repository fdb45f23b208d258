"""The command ``pinfolio``: each of its commands is imported when it is called, not before."""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

# Where each command lives, in the order of the help: module, name of the command in it. Then what
# the help says of it, here too, so that the help need not import them all.
COMMANDS: Final[dict[str, tuple[str, str, str]]] = {
    "find": (".commands.find", "find_command", "What is this chip? Which pin does that?"),
    "chip": (".commands.cards", "chip_command", "A chip at a glance: its pins in a table."),
    "pin": (".commands.cards", "pin_command", "The card of one pin: what it should show."),
    "check": (".commands.check", "check_command", "Is what I measured right?"),
    "faultfind": (
        ".commands.faultfind",
        "faultfind_command",
        "What is suspect, and where do I probe next?",
    ),
    "substitute": (
        ".commands.substitute",
        "substitute_command",
        "Will a part from the scrap box do?",
    ),
    "instruments": (
        ".commands.instruments",
        "instruments_command",
        "The meters, probes and oscilloscopes to choose from.",
    ),
    "figure": (
        ".commands.figure",
        "figure_command",
        "A waveform drawn in a data sheet, from its points.",
    ),
    "compare": (
        ".commands.compare",
        "compare_command",
        "Can this chip stand in for that one?",
    ),
    "shop": (".commands.shop", "shop_group", "Make a shop's folder; show its key."),
    "note": (
        ".commands.note",
        "note_group",
        "Notes of the shop: add, edit, list, show, withdraw.",
    ),
    "share": (
        ".commands.share",
        "share_command",
        "Write the shop's notes as one file for other shops.",
    ),
    "merge": (".commands.share", "merge_command", "Take in notes from other shops' files."),
    "shops": (".commands.share", "shops_group", "The shops known here."),
    "serve": (".commands.serve", "serve_command", "Show a folio in a browser."),
    "demo": (".commands.serve", "demo_command", "Build and show the demonstration folio."),
    "new": (".commands.new", "new_command", "Begin a chip file."),
    "draft": (
        ".commands.draft",
        "draft_command",
        "A first chip file from a table of pins or a data sheet.",
    ),
    "lint": (
        ".commands.lint",
        "lint_command",
        "Faults of chip files, and advice on them.",
    ),
    "rules": (
        ".commands.lint",
        "rules_command",
        "What each rule of chip files is for.",
    ),
    "format": (
        ".commands.lint",
        "format_command",
        "Put chip files in canonical form.",
    ),
    "build": (".commands.build", "build_command", "Make a folio from chip files and notes."),
    "preview": (
        ".commands.preview",
        "preview_command",
        "A chip file as its pages, while you write it.",
    ),
    "publish": (".commands.publish", "publish_command", "Lay a folio out for any web server."),
    "fetch-folio": (
        ".commands.publish",
        "fetch_command",
        "Bring a published folio here, over the network.",
    ),
    "pool-readings": (
        ".commands.pool_readings",
        "pool_command",
        "Readings of good sets as a Parquet table.",
    ),
    "schema": (".commands.build", "schema_command", "The JSON Schema of a chip file."),
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
