"""The command ``pinfolio``: each of its commands is imported when it is called, not before."""

from __future__ import annotations

from importlib import import_module
from typing import Final

import click

# Where each command lives, in the order of the help: module, name of the command in it.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "find": (".search.commands", "find_command"),
    "chip": (".cards.commands", "chip_command"),
    "pin": (".cards.commands", "pin_command"),
    "check": (".readings.commands", "check_command"),
    "faultfind": (".faultfinding.commands", "faultfind_command"),
    "substitute": (".faultfinding.substitute_commands", "substitute_command"),
    "instruments": (".instruments.commands", "instruments_command"),
    "figure": (".contributing.figure_commands", "figure_command"),
    "compare": (".contributing.compare_commands", "compare_command"),
    "shop": (".notes.shop_commands", "shop_group"),
    "note": (".notes.note_commands", "note_group"),
    "share": (".notes.share_commands", "share_command"),
    "merge": (".notes.share_commands", "merge_command"),
    "shops": (".notes.share_commands", "shops_group"),
    "serve": (".serving.commands", "serve_command"),
    "demo": (".serving.commands", "demo_command"),
    "new": (".contributing.new_commands", "new_command"),
    "draft": (".contributing.draft_commands", "draft_command"),
    "lint": (".contributing.lint_commands", "lint_command"),
    "rules": (".contributing.lint_commands", "rules_command"),
    "format": (".contributing.lint_commands", "format_command"),
    "build": (".building.commands", "build_command"),
    "preview": (".contributing.preview_commands", "preview_command"),
    "publish": (".publishing.commands", "publish_command"),
    "fetch-folio": (".publishing.commands", "fetch_command"),
    "pool-readings": (".publishing.pooling_commands", "pool_command"),
    "schema": (".building.commands", "schema_command"),
}


class _Commands(click.Group):
    """A group that imports a command when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name]
        command = getattr(import_module(module, __package__), name)
        assert isinstance(command, click.Command)
        return command

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
