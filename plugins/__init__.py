"""What is asked of a folio. The package is one Datasette plugin that brings its capabilities along.

Each capability (a folder here) is a plugin of its own with routes and templates; Datasette knows
only this package by entry point, and static files live here alone, because files of one
distribution share one address. No hook stands in this file: when it is imported before Datasette,
Datasette sees it half-way through and would miss them.
"""

from __future__ import annotations

import sys
from importlib import import_module

TYPE_CHECKING = False  # as typing has it
if TYPE_CHECKING:
    from typing import Final

_PARTS: Final = (
    "site",
    "search",
    "cards",
    "readings",
    "notes",
    "faultfinding",
    "contributing",
    "publishing",
)


def register() -> None:
    """Make the capabilities known to Datasette, once."""
    from datasette.plugins import pm

    from .hook import show_datasette

    modules = [import_module(f".{part}", __name__) for part in _PARTS]
    show_datasette()
    for module in modules:
        if not pm.is_registered(module):
            pm.register(module, module.__name__)


# Datasette imports this package as its plugin. The command line imports it as well, and must not
# wait for Datasette: what serves pages from there calls ``register`` itself.
if "datasette.plugins" in sys.modules:
    register()
