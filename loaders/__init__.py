"""How it gets in and out: chip files become models, models a folio, and a folio models again."""

from __future__ import annotations

from .folio import Folio, UnknownPart, open_folio
from .folio_file import FolioError

__all__ = ["Folio", "FolioError", "UnknownPart", "open_folio"]
