"""The command ``pinfolio``: a command is a file of the same name in one of the command folders.

The file's docstring is the command's help, and its first line the summary in ``pinfolio --help``;
that line is read as text, so that the help imports no command. The file's function ``command``
runs it, and is imported when the command is called.
"""

from __future__ import annotations

import gc
import os
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import click

_HERE: Final = Path(__file__).parent
_FOLDERS: Final = ("bench", "chip_files", "shop", "folio")
"""The folders of commands in the order of the help; the docstring of each is its heading."""

_COLLECT_EVERY: Final = 100_000
"""Importing makes many objects and no garbage; Python's default of 700 searches them in vain."""

COMMANDS: Final = {
    path.stem.replace("_", "-"): folder
    for folder in _FOLDERS
    for path in sorted((_HERE / folder).glob("[!_]*.py"))
}
"""The folder that holds each command."""


def read_summary(path: Path) -> str:
    """Return the first line of a module's docstring, without importing the module."""
    with path.open(encoding="utf-8") as file:
        return file.readline().strip().strip('"')


class CommandFolders(click.Group):
    """The group of all commands, each imported when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order of the help."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name, imported; None if there is no such file."""
        if cmd_name not in COMMANDS:
            return None
        name = f".{COMMANDS[cmd_name]}.{cmd_name.replace('-', '_')}"
        command = import_module(name, __package__).command
        assert isinstance(command, click.Command)
        command.name = cmd_name
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the summary of every command, a section for each folder."""
        for folder in _FOLDERS:
            with formatter.section(read_summary(_HERE / folder / "__init__.py")):
                names = [name for name, home in COMMANDS.items() if home == folder]
                files = [_HERE / folder / f"{name.replace('-', '_')}.py" for name in names]
                formatter.write_dl(list(zip(names, map(read_summary, files), strict=True)))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that the arguments name; suggest the nearest for an unknown one."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            _refuse_command(ctx, args[0])
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; an error raised on purpose ends it with its message and exit status."""
        from ...schema.errors import PinfolioError

        try:
            return super().invoke(ctx)
        except PinfolioError as error:
            from ...schema.text import visible

            shown = click.ClickException(visible(str(error), keep_lines=True))
            shown.exit_code = error.exit_status  # type: ignore[misc]  # by error, not by class
            raise shown from None


def _refuse_command(ctx: click.Context, word: str) -> None:
    """End with exit status 2 and the nearest command, or all of them."""
    from ...schema.text import find_nearest_word

    nearest = find_nearest_word(word, COMMANDS)
    hint = f"did you mean {nearest!r}?" if nearest else f"there are {', '.join(COMMANDS)}."
    ctx.fail(f"No command {word!r}; {hint} A marking is looked up with: pinfolio find {word}")


@click.group(cls=CommandFolders, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pinfolio", message="%(prog)s %(version)s")
def main() -> None:
    """Offline pin cards for the repair bench: the voltage and waveform to expect on every pin."""


def run() -> None:
    """Run the command line in ``sys.argv``, as the installed program does."""
    gc.set_threshold(_COLLECT_EVERY)
    # No pydantic plugin is wanted, and the search for one reads every installed distribution.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # Matrices here are small: threads take longer to start than they save.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        main()
    finally:
        gc.freeze()  # so that Python does not search all modules for garbage once more as it ends
