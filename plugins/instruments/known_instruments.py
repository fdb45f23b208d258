"""The instruments to choose from: the shop's own and the ordinary ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...schema.instruments import KnownInstruments


def load_instruments() -> KnownInstruments:
    """The instruments for a page: the shop's own and the ordinary ones, or these alone while the
    shop's file has faults, which ``pinfolio instruments`` names."""
    from ...loaders.shop.instruments_file import InstrumentsFileError, known_instruments
    from ...schema.instruments.ordinary import BUILT_IN

    try:
        return known_instruments()
    except InstrumentsFileError:
        return BUILT_IN
