"""A shop's keys as plain data and in words: its own key, and the devices that sign for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ...loaders.keys.key_statements import Statement
from ...loaders.keys.signing_key import format_fingerprint
from ...loaders.shop.shop_folder import Shop


@dataclass(frozen=True)
class KeyLine:
    """One key of a shop."""

    name: str
    """Name of the device; ``shop key`` for the shop's own."""
    state: str
    """``the shop's key``, ``certified``, ``waiting``, ``revoked`` or ``changed``."""
    date: str | None
    """Day of the statement behind the state; None for a first key."""
    key: str
    """Public key, 64 hexadecimal digits."""
    is_here: bool
    """Whether its private key is in the folder."""

    @property
    def fingerprint(self) -> str:
        """The key in the form that is read over the telephone."""
        return format_fingerprint(bytes.fromhex(self.key))

    def document(self) -> dict[str, Any]:
        """Return the key as plain data."""
        return {
            "name": self.name, "state": self.state, "date": self.date, "public_key": self.key,
            "fingerprint": self.fingerprint, "on_this_computer": self.is_here,
        }  # fmt: skip


def list_keys(shop: Shop) -> tuple[KeyLine, ...]:
    """Return the shop's own keys, the current one first, then its devices by state and name."""
    keys, key_here = shop.load_keys(), shop.find_public_key()
    # Each key but the first began with a statement that it follows the one before it.
    rotation_to = dict(zip(keys.chain[1:], keys.rotations, strict=True))
    lines = []
    for key in reversed(keys.chain):
        state = "the shop's key" if key == keys.current else "changed"
        day = rotation_to[key].date if key in rotation_to else None
        lines.append(KeyLine("shop key", state, day, key, is_here=key == key_here))
    revoked_devices = tuple(
        revocation for revocation in keys.revocations if revocation.key not in keys.chain
    )
    statements_of_state = {
        "certified": keys.devices,
        "waiting": keys.waiting,
        "revoked": revoked_devices,
    }
    for state, statements in statements_of_state.items():
        lines += [_describe(statement, state, key_here) for statement in statements]
    return tuple(lines)


def describe_key(shop: Shop) -> dict[str, Any]:
    """Return the shop's own key as plain data: the current one, and the first, which names it."""
    keys = shop.load_keys()
    current = keys.current or keys.chain[-1]
    return {
        "shop": shop.handle,
        "public_key": current,
        "fingerprint": format_fingerprint(bytes.fromhex(current)),
        "first_key": keys.chain[0],
        "is_disputed": keys.is_disputed,
    }


def _describe(statement: Statement, state: str, here: str | None) -> KeyLine:
    return KeyLine(statement.name, state, statement.date, statement.key, statement.key == here)
