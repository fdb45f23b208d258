"""How it gets in and out: chip files become models, models a folio, and a folio models again."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .folio.folio import Folio, UnknownPart, open_folio
    from .folio.folio_choice import find_folio
    from .folio.folio_file import FolioError

__all__ = ["Folio", "FolioError", "UnknownPart", "find_folio", "open_folio"]

# Models take long to import; what needs none of them should not wait (PEP 562).
_HOMES = {
    "Folio": ".folio.folio",
    "FolioError": ".folio.folio_file",
    "UnknownPart": ".folio.folio",
    "find_folio": ".folio.folio_choice",
    "open_folio": ".folio.folio",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = value = getattr(import_module(_HOMES[name], __name__), name)
    return value
