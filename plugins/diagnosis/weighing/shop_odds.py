"""The odds of the shop that asks: its own file where it has one, else ours."""

from __future__ import annotations

from pathlib import Path

from ....loaders.shop.odds_file import Odds, OddsFileError, load_shop_odds
from ....loaders.shop.shop_folder import find_shop, is_shop
from .priors import usual_odds


def odds_of_the_shop(folder: Path | None = None) -> Odds | None:
    """The shop's odds, the named shop's or the one around here; None for ours.

    Raises OddsFileError.
    """
    found = find_shop(folder)
    return load_shop_odds(found, usual_odds()) if is_shop(found) else None


def odds_for_a_page() -> Odds | None:
    """The same for a page; ours while the shop's file has faults, which the command names."""
    try:
        return odds_of_the_shop()
    except OddsFileError:
        return None
