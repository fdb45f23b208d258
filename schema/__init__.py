"""The typed vocabulary of chips, pins and signals, pure and without I/O.

The public names are those of ``public``, imported when the first of them is asked for (PEP 562).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .public import *  # noqa: F403


def __getattr__(name: str) -> object:
    """Return a public name; raise AttributeError for any other."""
    from importlib import import_module

    public = import_module(".public", __name__)
    if name == "__all__":
        return public.__all__
    if name not in public.__all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = value = getattr(public, name)
    return value


def __dir__() -> list[str]:
    """Return the public names."""
    from .public import __all__ as names

    return sorted(names)
