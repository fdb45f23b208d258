"""What every command that works on a shop's folder shares: which one, and how it answers no."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ..asking import BadInput

if TYPE_CHECKING:
    from ...loaders.shop import Shop

shop_option = click.option(
    "--shop",
    "shop_folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="The shop's folder. Else PINFOLIO_SHOP, else the one around here, else your own.",
)
yes_option = click.option("--yes", is_flag=True, help="Go ahead without asking.")


@contextmanager
def asked_shop(option: Path | None) -> Iterator[Shop]:
    """The shop meant, open; what cannot be done with it becomes one clear message."""
    from ...loaders.shop import find_shop, open_shop

    with refusals():
        yield open_shop(find_shop(option))


@contextmanager
def refusals() -> Iterator[None]:
    """What is wrong with a shop's folder, its notes or a bundle ends a command with status 2."""
    from ...loaders.bundle_reading import BundleError
    from ...loaders.faults import FaultyFile
    from ...loaders.merging import MergeError
    from ...loaders.shop import ShopError
    from ...schema.text import visible

    try:
        yield
    except (BundleError, FaultyFile, MergeError, ShopError) as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
