"""The command ``pinfolio`` as the system starts it.

What is asked most often, a part number or marking typed whole, is answered before anything heavy is
imported, in about the time that Python itself takes to start. Everything else, and whatever does
not fit so simply, goes to the command line proper, which gives the same answer to this question.
"""

from __future__ import annotations

import gc
import sys


def main() -> None:
    """Answer the command line in ``sys.argv``."""
    if lines := _at_once(sys.argv[1:]):
        _print(lines)
    else:
        # Importing makes many objects and no rubbish: to search them for some, over and over,
        # takes a sixth of a command's time.
        gc.set_threshold(100_000)
        from .cli import main as commands

        commands()


def _at_once(arguments: list[str]) -> list[str]:
    """The lines that answer ``find MARKING``, with ``--folio FILE`` or without; else none."""
    command, *words = arguments or [""]
    folio = None
    if len(words) > 2 and "--folio" in (words[0], words[-2]):
        place = 0 if words[0] == "--folio" else len(words) - 2
        folio = words[place + 1]
        del words[place : place + 2]
    if command != "find" or not words or any(word.startswith("-") for word in words):
        return []
    from ..search.exact import exact_lines

    return exact_lines(" ".join(words), folio)


def _print(lines: list[str]) -> None:
    try:
        print("\n".join(lines), flush=True)
    except BrokenPipeError:
        sys.stdout = None  # nobody reads on, and nothing is left to flush
        sys.exit(1)


if __name__ == "__main__":
    main()
