"""Read and change ``shops.toml``: key, state and latest bundle of every other shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from pydantic import TypeAdapter, ValidationError

from ...schema.note import Digest, Handle
from ..system.folder_changes import change_together
from ..system.regular_files import read_regular
from .shop_folder import Shop, ShopError
from .signing_key import format_fingerprint
from .toml_text import parse_toml

State = Literal["known", "trusted", "muted"]

_MOST_BYTES: Final = 1_000_000
_HEADER: Final = (
    "# The shops whose notes were merged; `pinfolio shops` shows and changes this file.\n"
)


@dataclass(frozen=True)
class KnownShop:
    """Another shop."""

    public_key: Digest
    """Its public key, 64 hexadecimal digits."""
    state: State = "known"
    """Trusted once its key was compared by voice; muted when its notes are hidden."""
    revisions: int = 0
    """Number of revisions it had written when its latest complete bundle was merged."""

    @property
    def fingerprint(self) -> str:
        """Its key in the short form that is read over the telephone."""
        return format_fingerprint(bytes.fromhex(self.public_key))


_TABLES: Final[TypeAdapter[dict[str, KnownShop]]] = TypeAdapter(dict[Handle, KnownShop])


def load_known_shops(shop: Shop) -> dict[str, KnownShop]:
    """Return the known shops by handle, sorted; raises ShopError when the file is faulty."""
    path = shop.known_shops
    try:
        tables: dict[str, Any] = parse_toml(read_regular(path, _MOST_BYTES).decode())
        known = _TABLES.validate_python(tables)
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise ShopError(f"{path}: cannot be read: {error.strerror}") from None
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(step) for step in first["loc"])
        raise ShopError(f"{path}: {place} is faulty: {first['msg']}") from None
    except ValueError as error:
        raise ShopError(f"{path}: not TOML ({error}); restore the file") from None
    return dict(sorted(known.items()))


def list_muted_shops(shop: Shop) -> set[str]:
    """Return the handles of the shops whose notes are hidden; raises ShopError."""
    return {handle for handle, known in load_known_shops(shop).items() if known.state == "muted"}


def format_known_shops(known: Mapping[str, KnownShop]) -> str:
    """Return the text of ``shops.toml``; handles, keys and states need no escapes."""
    tables = (
        f'\n[{handle}]\npublic_key = "{one.public_key}"\nstate = "{one.state}"\n'
        f"revisions = {one.revisions}\n"
        for handle, one in sorted(known.items())
    )
    return _HEADER + "".join(tables)


def set_state(shop: Shop, handle: str, state: State) -> None:
    """Record that a known shop is trusted or muted.

    Raises ShopError when the shop is unknown or the file cannot be written.
    """
    try:
        with change_together(shop.folder) as staging:
            known = load_known_shops(shop)
            if handle not in known:
                handles = ", ".join(known) or "none"
                raise ShopError(f"the shop {handle!r} is not known here; known are: {handles}")
            text = format_known_shops(known | {handle: replace(known[handle], state=state)})
            (staging / shop.known_shops.name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise ShopError(f"{shop.known_shops}: cannot be written: {error.strerror}") from None
