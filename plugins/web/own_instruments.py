"""The technician's own instruments, chosen once and kept in a cookie of this browser.

Every page uses them; names in a page's address go before those in the cookie.
"""

from __future__ import annotations

from collections.abc import Mapping
from http.cookies import CookieError
from typing import Final
from urllib.parse import parse_qsl, urlencode

from datasette.utils.asgi import Request

from ...schema.instruments import ComponentTester, Instruments, UnknownInstrument
from ..instruments.known_instruments import load_instruments

INSTRUMENT_COOKIE: Final = "pinfolio-instruments"
TESTER: Final = "tester"
SORTS: Final = ("meter", "probe", "scope", "counter", TESTER)
_LONGEST: Final = 1000
_MOST_FIELDS: Final = 8


def read_own_names(request: Request) -> dict[str, str]:
    """Return the names kept in this browser, by sort; those that are not known are left out."""
    try:
        kept = request.cookies.get(INSTRUMENT_COOKIE, "")[:_LONGEST]
        pairs = dict(parse_qsl(kept, max_num_fields=_MOST_FIELDS))
    except (CookieError, ValueError):  # another program on this machine may have set anything
        return {}
    return {sort: pairs[sort] for sort in SORTS if sort in pairs and is_known(sort, pairs[sort])}


def is_known(sort: str, name: str) -> bool:
    """Return whether there is an instrument of this sort and name."""
    known = load_instruments()
    try:
        if sort == TESTER:
            known.choose_tester(name)
        else:
            known.choose(**{sort: name})
    except UnknownInstrument:
        return False
    return True


def write_own_names(names: Mapping[str, str]) -> str:
    """Return the cookie's value for the chosen names."""
    return urlencode({sort: names[sort] for sort in SORTS if names.get(sort)})


def list_chosen_names(request: Request) -> dict[str, str]:
    """Return the names in the page's address, else those kept in this browser, by sort.

    The component tester, which is for a set that is off, is not among them.
    """
    return {sort: name for sort, name in _list_names(request).items() if sort != TESTER}


def _list_names(request: Request) -> dict[str, str]:
    args = request.args  # parsed anew each time it is asked for
    given = {sort: args.get(sort) for sort in SORTS}
    return read_own_names(request) | {sort: name for sort, name in given.items() if name}


def choose_own_instruments(request: Request) -> Instruments:
    """Return the chosen instruments, ordinary ones for the rest.

    Raises UnknownInstrument for a name in the address.
    """
    return load_instruments().choose(**list_chosen_names(request))


def choose_own_tester(request: Request) -> ComponentTester | None:
    """Return the chosen component tester, None without one.

    Raises UnknownInstrument for a name in the address.
    """
    name = _list_names(request).get(TESTER)
    return load_instruments().choose_tester(name) if name else None
