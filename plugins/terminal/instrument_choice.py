"""The options ``--meter``, ``--probe`` and ``--scope``, and the instruments they choose."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from ...schema.instruments import Instruments

Command = TypeVar("Command", bound=Callable[..., Any])


def instrument_options(command: Command) -> Command:
    """Give a command ``--meter``, ``--probe`` and ``--scope``."""
    for sort, noun in (("scope", "oscilloscope"), ("probe", "probe"), ("meter", "meter")):
        help_text = f"Your {noun}, by its name in 'pinfolio instruments'."
        command = click.option(f"--{sort}", metavar="NAME", help=help_text)(command)
    return command


def choose_instruments(
    meter: str | None, probe: str | None, scope: str | None
) -> Instruments | None:
    """Return the named instruments, with ordinary ones for the rest; None if none is named.

    Raises UnknownInstrument, InstrumentsFileError.
    """
    if not (meter or probe or scope):
        return None
    from ...loaders.shop.instruments_file import load_known_instruments

    return load_known_instruments().choose(meter, probe, scope)


def choose_or_default(meter: str | None, probe: str | None, scope: str | None) -> Instruments:
    """Return the named instruments; for the rest the shop's usual ones, else ordinary ones.

    Raises UnknownInstrument, InstrumentsFileError.
    """
    from ...loaders.shop.instruments_file import load_known_instruments

    usual = _read_usual_names()
    names = [given or own for given, own in zip((meter, probe, scope), usual, strict=True)]
    return load_known_instruments().choose(*names)


def _read_usual_names() -> tuple[str | None, str | None, str | None]:
    """Return the meter, probe and oscilloscope in the shop's file; None for each without one."""
    from ...loaders.shop.shop_folder import ShopError, find_shop, is_shop, open_shop

    folder = find_shop()
    if not is_shop(folder):
        return None, None, None
    try:
        shop = open_shop(folder)
    except ShopError:
        return None, None, None  # the shop's own commands report the damage
    return shop.meter, shop.probe, shop.scope
