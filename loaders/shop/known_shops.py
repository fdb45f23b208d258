"""The shops a shop knows: whose key is whose, who is trusted or muted, how far each was merged."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, get_args

from pydantic import TypeAdapter, ValidationError

from ...schema.note import Digest, Handle
from ..system.folder_changes import change_together
from .shop_folder import Shop, ShopError
from .signing_key import fingerprint

State = Literal["known", "trusted", "muted"]
STATES: Final[tuple[str, ...]] = get_args(State)

_MOST_BYTES: Final = 10_000_000
_HEADER: Final = (
    "# The shops whose notes were merged; `pinfolio shops` shows and changes this file.\n"
)


@dataclass(frozen=True)
class KnownShop:
    """One other shop."""

    public_key: Digest
    """Public half of its key: 64 hexadecimal digits."""
    state: State = "known"
    """Trusted once its key was compared by voice; muted when its notes are not to be shown."""
    revisions: int = 0
    """How many revisions it had written when the last bundle with all of them was merged."""

    @property
    def fingerprint(self) -> str:
        """The key as it is read over the telephone."""
        return fingerprint(bytes.fromhex(self.public_key))


_TABLES: Final[TypeAdapter[dict[str, KnownShop]]] = TypeAdapter(dict[Handle, KnownShop])


def known_shops(shop: Shop) -> dict[str, KnownShop]:
    """The shops known, in the order of their handles; raises ShopError when the file is faulty."""
    path = shop.known_shops
    try:
        with path.open("rb") as file:
            tables: dict[str, Any] = tomllib.loads(file.read(_MOST_BYTES).decode())
        known = _TABLES.validate_python(tables)
    except FileNotFoundError:
        return {}
    except OSError as refused:
        raise ShopError(f"{path}: {refused.strerror}") from None
    except ValidationError as refused:
        first = refused.errors()[0]
        place = ".".join(str(step) for step in first["loc"])
        raise ShopError(f"{path}: found a fault at {place}: {first['msg']}") from None
    except (ValueError, RecursionError) as refused:
        raise ShopError(f"{path}: found what is not TOML ({refused})") from None
    return dict(sorted(known.items()))


def muted_shops(shop: Shop) -> set[str]:
    """Handles of the shops whose notes are not to be shown."""
    return {handle for handle, known in known_shops(shop).items() if known.state == "muted"}


def as_toml(known: Mapping[str, KnownShop]) -> str:
    """The file of known shops; handles, keys and states need no escapes."""
    tables = (
        f'\n[{handle}]\npublic_key = "{one.public_key}"\nstate = "{one.state}"\n'
        f"revisions = {one.revisions}\n"
        for handle, one in sorted(known.items())
    )
    return _HEADER + "".join(tables)


def set_state(shop: Shop, handle: str, state: State) -> None:
    """Trust or mute a known shop, for good; raises ShopError when it is not known."""
    try:
        with change_together(shop.folder) as new:
            known = known_shops(shop)
            if handle not in known:
                there = ", ".join(known) or "none"
                raise ShopError(f"the shop {handle!r} is not known here; known are: {there}")
            text = as_toml(known | {handle: replace(known[handle], state=state)})
            (new / shop.known_shops.name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as refused:
        raise ShopError(f"{shop.known_shops}: {refused.strerror}") from None
