"""What is asked of a folio. The package is one Datasette plugin that brings its capabilities along.

Each capability (a folder here) is a plugin of its own with routes and templates; Datasette knows
only this package by entry point, and static files live here alone, because files of one
distribution share one address. No hook stands in this file: when it is imported before Datasette,
Datasette sees it half-way through and would miss them.
"""

from __future__ import annotations

from importlib import import_module

from datasette.plugins import pm

for _part in ("site", "search", "cards", "readings", "notes", "faultfinding", "contributing"):
    _module = import_module(f".{_part}", __name__)
    if not pm.is_registered(_module):
        pm.register(_module, _module.__name__)
