"""The mark of a plugin hook, put on before Datasette is imported and shown to it afterwards.

Datasette's own mark can only be had with all of Datasette, which no command but those that serve
pages should wait for.
"""

from __future__ import annotations

TYPE_CHECKING = False  # as typing has it, which takes as long to import as Python to start
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any, Final, TypeVar

    Hook = TypeVar("Hook", bound=Callable[..., Any])

_HOOKS: Final[list[tuple[Callable[..., Any], bool]]] = []


def hookimpl(hook: Hook) -> Hook:
    """Mark a function as one of our hooks."""
    _HOOKS.append((hook, False))
    return hook


def hook_around(hook: Hook) -> Hook:
    """Mark a generator as a hook around those of others (pluggy's ``hookwrapper``)."""
    _HOOKS.append((hook, True))
    return hook


def show_datasette() -> None:
    """Put Datasette's own mark on every hook marked until now."""
    from datasette import hookimpl as datasettes_mark

    for hook, around in _HOOKS:
        datasettes_mark(hook, hookwrapper=around)
