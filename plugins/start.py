"""The command ``pinfolio`` as the system starts it.

What is asked most often, a part number or marking typed whole, is answered before anything heavy is
imported, in about the time that Python itself takes to start. Everything else, and whatever does
not fit so simply, goes to the command line proper, which gives the same answer to this question.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Answer the command line in ``sys.argv``."""
    lines = _at_once(sys.argv[1:])
    if not lines:
        from .command_line import main as commands

        commands()
    try:
        print("\n".join(lines), flush=True)
    except BrokenPipeError:
        sys.stdout = None  # type: ignore[assignment]  # nobody reads on, and nothing is left to flush
        sys.exit(1)


def _at_once(arguments: list[str]) -> list[str]:
    """The lines that answer ``find MARKING``, with ``--folio FILE`` or without; else none."""
    command, *words = arguments or [""]
    folio = None
    if words[:1] == ["--folio"] or words[-2:-1] == ["--folio"]:
        place = words.index("--folio")
        _, folio = words[place : place + 2]
        del words[place : place + 2]
    if command != "find" or not words or any(word.startswith("-") for word in words):
        return []
    from .search.exact import exact_lines

    return exact_lines(" ".join(words), folio)


if __name__ == "__main__":
    main()
