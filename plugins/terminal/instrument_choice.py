"""The options that choose meter, probe, oscilloscope, counter and tester, and those chosen."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

if TYPE_CHECKING:
    from ...schema.instruments import ComponentTester, Instruments

_SORTS: Final = ("meter", "probe", "scope", "counter", "tester")
Command = TypeVar("Command", bound=Callable[..., Any])


def instrument_options(command: Command) -> Command:
    """Give a command ``--meter``, ``--probe`` and ``--scope``."""
    for sort, noun in (("scope", "oscilloscope"), ("probe", "probe"), ("meter", "meter")):
        help_text = f"Your {noun}, by its name in 'pinfolio instruments'."
        command = click.option(f"--{sort}", metavar="NAME", help=help_text)(command)
    return command


def counter_option(command: Command) -> Command:
    """Give a command ``--counter``."""
    help_text = "Your frequency counter, by its name; without it frequencies are read off a screen."
    return click.option("--counter", metavar="NAME", help=help_text)(command)


def tester_option(command: Command) -> Command:
    """Give a command ``--tester``."""
    help_text = (
        "Your component tester, by its name; only for a set that is off and unplugged. Without a"
        " name: the shop's usual one."
    )
    return click.option("--tester", metavar="[NAME]", is_flag=False, flag_value="", help=help_text)(
        command
    )


def bench_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options of all four instruments, and that of the digits typed.

    It gets the chosen ``instruments``; those not named are the shop's usual ones, see
    ``choose_or_default``.
    """

    @wraps(command)
    def choose(
        *,
        meter: str | None,
        probe: str | None,
        scope: str | None,
        counter: str | None,
        rounded: bool,
        **rest: Any,
    ) -> None:
        chosen = choose_or_default(meter, probe, scope, counter)
        command(instruments=chosen._replace(is_typed_in_full=not rounded), **rest)

    help_text = "Figures are rounded: each tells no more than the digits it is typed with."
    rounded_option = click.option("--rounded", is_flag=True, help=help_text)
    return instrument_options(counter_option(rounded_option(choose)))


def choose_instruments(
    meter: str | None, probe: str | None, scope: str | None, counter: str | None = None
) -> Instruments | None:
    """Return the named instruments, with ordinary ones for the rest; None if none is named.

    Raises UnknownInstrument, InstrumentsFileError.
    """
    if not (meter or probe or scope or counter):
        return None
    from ...loaders.shop.instruments_file import load_known_instruments

    return load_known_instruments().choose(meter, probe, scope, counter)


def choose_tester(name: str | None) -> ComponentTester | None:
    """Return the component tester of this name, None without one.

    An empty name is the shop's usual one, else an ordinary one. Raises UnknownInstrument,
    InstrumentsFileError.
    """
    if name is None:
        return None
    from ...loaders.shop.instruments_file import load_known_instruments

    return load_known_instruments().choose_tester(name or _read_usual_names()["tester"] or "")


def choose_or_default(
    meter: str | None, probe: str | None, scope: str | None, counter: str | None = None
) -> Instruments:
    """Return the named instruments; for the rest the shop's usual ones, else ordinary ones.

    Raises UnknownInstrument, InstrumentsFileError.
    """
    from ...loaders.shop.instruments_file import load_known_instruments

    usual = _read_usual_names()
    given = {"meter": meter, "probe": probe, "scope": scope, "counter": counter}
    names = {sort: name or usual[sort] for sort, name in given.items()}
    return load_known_instruments().choose(**names)


def _read_usual_names() -> dict[str, str | None]:
    """Return the instruments that the shop's file names, by their sorts; None where unnamed."""
    from ...loaders.shop.shop_place import find_shop, is_shop

    unnamed = dict.fromkeys(_SORTS)
    folder = find_shop()
    if not is_shop(folder):
        return unnamed
    from ...loaders.shop.shop_folder import ShopError, open_shop

    try:
        shop = open_shop(folder)
    except ShopError:
        return unnamed  # the shop's own commands report the damage
    return {sort: getattr(shop, sort) for sort in _SORTS}
