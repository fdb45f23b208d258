"""Find a shop's folder, without opening it."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from platformdirs import user_data_path

ENVIRONMENT: Final = "PINFOLIO_SHOP"
FILE: Final = "shop.toml"


def is_shop(folder: Path) -> bool:
    """Return whether ``folder`` is a shop's folder."""
    return (folder / FILE).is_file()


def find_shop(option: Path | None = None) -> Path:
    """Return the path of the shop's folder, which need not exist.

    It is ``option``, else PINFOLIO_SHOP, else the folder around the current one, else the one in
    the user's data folder.
    """
    current = Path.cwd()
    enclosing = next((folder for folder in (current, *current.parents) if is_shop(folder)), None)
    return option or _read_environment() or enclosing or _locate_default_folder()


def choose_new_folder(option: Path | None = None) -> Path:
    """Return the folder for a new shop: ``option``, else PINFOLIO_SHOP, else the user's data."""
    return option or _read_environment() or _locate_default_folder()


def _read_environment() -> Path | None:
    folder = os.environ.get(ENVIRONMENT)
    return Path(folder) if folder else None


def _locate_default_folder() -> Path:
    return user_data_path("pinfolio", appauthor=False) / "shop"
