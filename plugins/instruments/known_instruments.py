"""The instruments to choose from: the shop's own and the ordinary ones."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ...schema.instruments import KnownInstruments


def load_instruments() -> KnownInstruments:
    """Return the shop's instruments and the ordinary ones, for a page or a picture.

    While the shop's file has errors, which ``pinfolio instruments`` reports, return the ordinary
    ones.
    """
    from ...loaders.shop.instruments_file import InstrumentsFileError, load_known_instruments
    from ...schema.instruments.ordinary import BUILT_IN

    try:
        return load_known_instruments()
    except InstrumentsFileError:
        return BUILT_IN


def describe_instruments(known: KnownInstruments, file: Path) -> dict[str, Any]:
    """Return the instruments to choose from as plain data, with the shop's ``file`` for its own."""
    lists = {
        sort: [instrument.model_dump(mode="json") for instrument in instruments.values()]
        for sort, instruments in known._asdict().items()
    }
    return {"file": str(file), "there": file.is_file(), **lists}
