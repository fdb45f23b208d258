"""The odds of the shop that asks: its own file where it has one, else ours."""

from __future__ import annotations

from pathlib import Path

from ....loaders.shop.odds_file import Odds, OddsFileError, load_shop_odds
from ....loaders.shop.shop_place import find_shop, is_shop
from .priors import load_usual_odds


def find_shop_odds(folder: Path | None = None) -> Odds | None:
    """The shop's odds, the named shop's or the one around here; None for ours.

    Raises OddsFileError.
    """
    shop_path = find_shop(folder)
    return load_shop_odds(shop_path, load_usual_odds()) if is_shop(shop_path) else None


def find_page_odds() -> Odds | None:
    """The same for a page; ours while the shop's file has faults, which the command names."""
    try:
        return find_shop_odds()
    except OddsFileError:
        return None
