"""The pages: each module here translates documents to HTML and JSON, and lists its ``ROUTES``."""

from __future__ import annotations

from importlib import import_module
from pkgutil import iter_modules
from typing import Any


def find_routes() -> list[tuple[str, Any]]:
    """Return the routes of every page module: a regular expression of the path, and its view."""
    names = sorted(module.name for module in iter_modules(__path__))
    return [route for name in names for route in import_module(f".{name}", __name__).ROUTES]
