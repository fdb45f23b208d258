"""Choosing instruments by name, on the command line and in a page's address."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from .command_common import AnswerIsNo, BadInput

if TYPE_CHECKING:
    from ...schema.instruments import Instruments

Command = TypeVar("Command", bound=Callable[..., Any])


def instrument_options(command: Command) -> Command:
    """Give a command ``--meter``, ``--probe`` and ``--scope``."""
    for sort, what in (("scope", "oscilloscope"), ("probe", "probe"), ("meter", "meter")):
        helped = f"The {what} in hand, by its name in 'pinfolio instruments'."
        command = click.option(f"--{sort}", metavar="NAME", help=helped)(command)
    return command


def chosen(meter: str | None, probe: str | None, scope: str | None) -> Instruments | None:
    """The named instruments, ordinary ones for what is not named; None when nothing is."""
    if not (meter or probe or scope):
        return None
    from ...loaders.shop.instruments_file import known_instruments
    from ...schema.instruments import UnknownInstrument

    with refused_file():
        known = known_instruments()
    try:
        return known.choose(meter, probe, scope)
    except UnknownInstrument as unknown:
        raise AnswerIsNo(str(unknown)) from None


def chosen_or_ordinary(meter: str | None, probe: str | None, scope: str | None) -> Instruments:
    """The named instruments; for what is not named the shop's usual ones, else ordinary ones."""
    from ...loaders.shop.instruments_file import known_instruments

    usual = _usual_of_the_shop()
    names = [given or own for given, own in zip((meter, probe, scope), usual, strict=True)]
    found = chosen(*names)
    if found is not None:
        return found
    with refused_file():
        return known_instruments().choose()


def _usual_of_the_shop() -> tuple[str | None, str | None, str | None]:
    """Meter, probe and oscilloscope that the shop's file names; None without a shop."""
    from ...loaders.shop.shop_folder import ShopError, find_shop, is_shop, open_shop

    folder = find_shop()
    if not is_shop(folder):
        return None, None, None
    try:
        shop = open_shop(folder)
    except ShopError:
        return None, None, None  # the shop's own commands say what is wrong with it
    return shop.meter, shop.probe, shop.scope


@contextmanager
def refused_file() -> Iterator[None]:
    """The faults of the shop's instruments file end a command with exit status 2."""
    from ...loaders.shop.instruments_file import InstrumentsFileError
    from ...schema.text import visible

    try:
        yield
    except InstrumentsFileError as refused:
        raise BadInput(visible(str(refused), keep_lines=True)) from None
