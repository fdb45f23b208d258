"""Read and change ``shops.toml``: key, state and latest bundle of every other shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import TypeAdapter, ValidationError

from ...schema.note import Digest, Handle
from ..keys.signing_key import format_fingerprint
from ..system.folder_changes import change_together
from ..system.regular_files import read_regular
from .shop_folder import Shop, ShopError
from .toml_text import parse_toml

State = Literal["known", "trusted", "muted"]

_MOST_BYTES: Final = 1_000_000
_HEADER: Final = (
    "# The shops whose notes were merged; `pinfolio shops` shows and changes this file.\n"
)


@dataclass(frozen=True)
class KnownShop:
    """Another shop; its name here is the key of its table."""

    public_key: Digest
    """Its first public key, 64 hexadecimal digits, which names the shop."""
    state: State = "known"
    """Trusted once its key was compared by voice; muted when its notes are hidden."""
    revisions: int = 0
    """Number of revisions in the latest complete bundle that its first key signed."""
    handle: Handle | None = None
    """Its own handle; None in tables of version 0.1, where it is the name here."""
    current_key: Digest | None = None
    """Its key now; None in tables of version 0.1, where it is the first one."""
    devices: dict[Digest, int] = field(default_factory=dict)
    """Number of revisions in the latest complete bundle of each other key that signed one."""

    @property
    def key(self) -> str:
        """Its key now, 64 hexadecimal digits."""
        return self.current_key or self.public_key

    @property
    def fingerprint(self) -> str:
        """Its key now in the short form that is read over the telephone."""
        return format_fingerprint(bytes.fromhex(self.key))

    def count_revisions(self, signer: str) -> int:
        """Return the revisions in the latest complete bundle that a key signed."""
        return self.revisions if signer == self.public_key else self.devices.get(signer, 0)

    def record_bundle(self, signer: str, revisions: int) -> KnownShop:
        """Return the shop after a complete bundle of ``signer``; counts only grow."""
        count = max(revisions, self.count_revisions(signer))
        if signer == self.public_key:
            return replace(self, revisions=count)
        return replace(self, devices=self.devices | {signer: count})


_TABLES: Final[TypeAdapter[dict[str, KnownShop]]] = TypeAdapter(dict[Handle, KnownShop])


def load_known_shops(shop: Shop) -> dict[str, KnownShop]:
    """Return the known shops by name, sorted; raises ShopError when the file is faulty."""
    return read_known_shops(shop.known_shops)


def read_known_shops(path: Path) -> dict[str, KnownShop]:
    """Return the known shops in a file by name, sorted; none without a file. Raises ShopError."""
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


def format_known_shops(known: Mapping[str, KnownShop]) -> str:
    """Return the text of ``shops.toml``; handles, keys and states need no escapes."""
    return _HEADER + "".join(_format_table(name, one) for name, one in sorted(known.items()))


def _format_table(name: str, one: KnownShop) -> str:
    lines = [f"[{name}]", f'public_key = "{one.public_key}"', f'state = "{one.state}"']
    lines += [f"revisions = {one.revisions}"]
    # A shop that is as version 0.1 knows them has the lines of version 0.1.
    lines += [f'handle = "{one.handle}"'] if one.handle not in (None, name) else []
    lines += [f'current_key = "{one.current_key}"'] if one.key != one.public_key else []
    if one.devices:
        lines += ["", f"[{name}.devices]"]
        lines += [f"{key} = {count}" for key, count in sorted(one.devices.items())]
    return "\n" + "\n".join(lines) + "\n"


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
