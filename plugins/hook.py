"""Datasette's mark for a plugin hook, with the type that its own package does not state."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from datasette import hookimpl as _hookimpl

Hook = TypeVar("Hook", bound=Callable[..., Any])

hookimpl: Callable[[Hook], Hook] = _hookimpl
