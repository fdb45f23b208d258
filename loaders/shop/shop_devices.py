"""Make a computer a device of a shop, certify or revoke one, and rotate the shop's key.

Notes that a key signed before it ended are signed again by the key that ends it, so that they
still count, and everything that the ended key signs afterwards does not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import Final

from ..keys.key_statements import ShopKeys, Statement, sign_statement
from ..keys.signing_key import create_key, derive_public_key
from ..keys.statement_files import KEYS, stage_statements
from ..system.folder_changes import change_together
from .note_lists import stage_lists_again
from .shop_folder import KEY_FILE, Shop, ShopError, check_handle, write_key
from .signed_notes import remember_signatures, stage_signed_again

_FEWEST_DIGITS: Final = 8  # of a key that is given instead of a device's name


def request_device(shop: Shop, name: str) -> Statement:
    """Draw a key for this computer and return its request, which waits to be certified.

    Raises ShopError when the folder has a key that is in use, when another device has the name,
    and when the folder cannot be written.
    """
    check_handle(name, "")

    def stage(staging: Path) -> list[Statement]:
        keys, public = shop.load_keys(), shop.find_public_key()
        ended = {*keys.chain[:-1], *(statement.key for statement in keys.revocations)}
        if public is not None and public not in ended:
            path = shop.folder / KEY_FILE
            raise ShopError(f"{path}: this computer has a key; show it with: pinfolio shop device")
        taken = {s.name for s in (*keys.devices, *keys.waiting, *keys.revocations)}
        if name in taken:
            names = ", ".join(sorted(taken))
            raise ShopError(f"{name!r}: another device has this name; taken are {names}")
        private = create_key()
        write_key(staging / KEY_FILE, private)
        key = derive_public_key(private).hex()
        return [sign_statement(private, "device", keys.chain[0], key, name, _name_today())]

    return _write(shop, stage)


def certify_device(shop: Shop, name: str) -> Statement:
    """Certify the waiting device of this name and return the certificate.

    Raises ShopError when there is none or this computer does not have the shop's key.
    """

    def stage(staging: Path) -> list[Statement]:
        private, keys = require_shop_key(shop)
        request = find_device(keys.waiting, name)
        return [_certify(private, keys, request)]

    return _write(shop, stage)


def revoke_device(shop: Shop, name: str) -> Statement:
    """Revoke a device and return the statement; its notes that are here are signed again.

    Raises ShopError when there is none or this computer does not have the shop's key.
    """

    def stage(staging: Path) -> list[Statement]:
        private, keys = require_shop_key(shop)
        device = find_device((*keys.devices, *keys.waiting), name)
        if device in keys.devices:
            _sign_again(shop, staging, bytes.fromhex(device.key), private)
        return [
            sign_statement(
                private, "revocation", keys.chain[0], device.key, device.name, _name_today()
            )
        ]

    return _write(shop, stage)


def rotate_key(shop: Shop) -> Statement:
    """Make a new key the shop's key and return the statement; devices are certified again.

    Raises ShopError when this computer does not have the shop's key.
    """

    def stage(staging: Path) -> list[Statement]:
        private, keys = require_shop_key(shop)
        successor = create_key()
        public = derive_public_key(successor).hex()
        write_key(staging / KEY_FILE, successor)
        _sign_again(shop, staging, derive_public_key(private), successor)
        rotation = sign_statement(
            private, "rotation", keys.chain[0], public, shop.handle, _name_today()
        )
        return [rotation, *(_certify(successor, keys, device) for device in keys.devices)]

    return _write(shop, stage)


def find_device(statements: Iterable[Statement], name: str) -> Statement:
    """Return the statement about a device, by its name or the first digits of its key.

    Raises ShopError for none and for several.
    """
    statements = tuple(statements)
    matches = [
        s
        for s in statements
        if s.name == name or (len(name) >= _FEWEST_DIGITS and s.key.startswith(name))
    ]
    if len(matches) == 1:
        return matches[0]
    if matches:
        keys = ", ".join(s.key[:_FEWEST_DIGITS] for s in matches)
        raise ShopError(f"{name!r}: several devices have this name; give its key: {keys}")
    names = ", ".join(sorted(s.name for s in statements)) or "none"
    raise ShopError(f"{name!r}: no such device here to choose; there is {names}")


def _certify(private: bytes, keys: ShopKeys, device: Statement) -> Statement:
    return sign_statement(private, "device", keys.chain[0], device.key, device.name, _name_today())


def require_shop_key(shop: Shop) -> tuple[bytes, ShopKeys]:
    """Return the shop's private key and its keys; raises ShopError on a device without it."""
    private, keys = shop.load_private_key(), shop.load_keys()
    if derive_public_key(private).hex() != keys.current:
        where = "do this on the computer that has the shop's key, or restore it from its backup"
        raise ShopError(f"{shop.folder / KEY_FILE}: the key of a device, not the shop's; {where}")
    return private, keys


def _sign_again(shop: Shop, staging: Path, public_key: bytes, private_key: bytes) -> None:
    """Sign everything with ``private_key`` that ``public_key`` signed. Raises OSError."""
    stage_signed_again(shop, staging, public_key, private_key)
    stage_lists_again(shop, staging, public_key, private_key)


def _name_today() -> str:
    return date.today().isoformat()


def _write(shop: Shop, stage: Callable[[Path], list[Statement]]) -> Statement:
    """Write the statements of ``stage`` and all that it staged together; return the first.

    ``stage`` runs under the folder's lock. Raises ShopError.
    """
    try:
        with change_together(shop.folder) as staging:
            statements = stage(staging)
            stage_statements(staging / KEYS, statements)
    except OSError as error:
        where = error.filename or shop.folder
        raise ShopError(f"{where}: the key cannot be changed: {error.strerror}") from None
    shop.load_keys()  # which remembers rotations and revocations on this computer
    remember_signatures(shop)
    return statements[0]
