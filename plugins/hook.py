"""The mark of a plugin hook, put on before Datasette is imported and shown to it afterwards.

Datasette's own mark can only be had with all of Datasette, which no command but those that serve
pages should wait for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar, overload

Hook = TypeVar("Hook", bound=Callable[..., Any])

_HOOKS: Final[list[tuple[Callable[..., Any], dict[str, bool]]]] = []


@overload
def hookimpl(hook: Hook) -> Hook: ...
@overload
def hookimpl(*, hookwrapper: bool) -> Callable[[Hook], Hook]: ...
def hookimpl(hook: Callable[..., Any] | None = None, **options: bool) -> Callable[..., Any]:
    """Mark a function as one of our hooks; with options as pluggy has them."""

    def marked(function: Callable[..., Any]) -> Callable[..., Any]:
        _HOOKS.append((function, options))
        return function

    return marked if hook is None else marked(hook)


def show_datasette() -> None:
    """Put Datasette's own mark on every hook marked until now."""
    from datasette import hookimpl as datasettes_mark

    for hook, options in _HOOKS:
        datasettes_mark(hook, **options)
