"""Encrypt a shop's identity with a passphrase, and decrypt it again.

A backup is JSON: the head names the shop, the key derivation and its parameters; ``sealed`` holds
the private key and the shop's statements, encrypted by ChaCha20-Poly1305 (RFC 8439), which also
authenticates the head. The key of the cipher is derived from the passphrase by scrypt (RFC 7914).
"""

from __future__ import annotations

import json
import os
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import Field, StringConstraints, ValidationError

from ...schema.errors import PinfolioError
from ...schema.model import Model
from ...schema.note import Digest, Handle
from .key_statements import MOST_STATEMENTS, Statement, judge_keys
from .signing_key import derive_public_key

BACKUP_FORMAT: Final = "pinfolio backup 1"
SHORTEST_PASSPHRASE: Final = 12
MOST_BYTES: Final = 4_000_000
# 128 MB and about half a second: N = 2^17, r = 8, p = 1 as the OWASP Password Storage Cheat Sheet
# recommends for scrypt. From memory.
_COST: Final = 2**17
_BLOCK: Final = 8
_SALT_BYTES: Final = 16
_NONCE_BYTES: Final = 12
_KEY_BYTES: Final = 32

_Hex = Annotated[str, StringConstraints(pattern=r"^([0-9a-f]{2})+$")]


class BackupError(PinfolioError):
    """The file is no backup of a shop's key, or the passphrase does not open it."""


class _Head(Model):
    """The readable part of a backup; bounds keep a hostile file from taking all memory."""

    format: Literal["pinfolio backup 1"] = "pinfolio backup 1"
    shop: Handle
    shop_key: Digest
    derivation: Literal["scrypt"] = "scrypt"
    cost: Annotated[int, Field(ge=2, le=2**20)] = _COST
    block: Annotated[int, Field(ge=1, le=8)] = _BLOCK
    cipher: Literal["ChaCha20-Poly1305"] = "ChaCha20-Poly1305"
    salt: _Hex
    nonce: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{24}$")]


class _File(_Head):
    sealed: _Hex


class _Content(Model):
    """The encrypted part of a backup."""

    private_key: Digest
    statements: Annotated[tuple[Statement, ...], Field(max_length=MOST_STATEMENTS)] = ()


@dataclass(frozen=True)
class Identity:
    """All that makes a computer speak for a shop."""

    shop: str
    """Handle of the shop."""
    shop_key: bytes
    """Its first public key, 32 bytes."""
    private_key: bytes
    """Its current private key, 32 bytes."""
    statements: tuple[Statement, ...] = ()


def seal_identity(identity: Identity, passphrase: str, cost: int = _COST) -> bytes:
    """Return the backup of an identity; raises BackupError for a short passphrase.

    ``cost`` is scrypt's N, a power of two.
    """
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise BackupError(
            f"the passphrase has {len(passphrase)} characters; use {SHORTEST_PASSPHRASE} or more"
        )
    head = _Head(
        shop=identity.shop, shop_key=identity.shop_key.hex(), cost=cost,
        salt=os.urandom(_SALT_BYTES).hex(), nonce=os.urandom(_NONCE_BYTES).hex(),
    )  # fmt: skip
    content = _Content(private_key=identity.private_key.hex(), statements=identity.statements)
    plaintext = content.model_dump_json().encode()
    cipher = ChaCha20Poly1305(_derive_key(passphrase, head))
    # The head stays readable, but is authenticated: a changed one no longer opens.
    ciphertext = cipher.encrypt(bytes.fromhex(head.nonce), plaintext, _format_head(head))
    document = head.model_dump() | {"sealed": ciphertext.hex()}
    return (json.dumps(document, indent=1) + "\n").encode()


def open_backup(data: bytes, passphrase: str) -> Identity:
    """Return the identity in a backup; raises BackupError."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    try:
        backup = _File.model_validate_json(data)
    except (ValidationError, ValueError):
        raise BackupError("not a backup of a shop's key, or a damaged one") from None
    head = _Head(**backup.model_dump(exclude={"sealed"}))
    try:
        cipher = ChaCha20Poly1305(_derive_key(passphrase, head))
        nonce, ciphertext = bytes.fromhex(head.nonce), bytes.fromhex(backup.sealed)
        plaintext = cipher.decrypt(nonce, ciphertext, _format_head(head))
        content = _Content.model_validate_json(plaintext)
    except InvalidTag:
        raise BackupError("the passphrase is wrong, or the backup was changed") from None
    except ValueError:
        raise BackupError("the backup opens, but holds no key that can be used") from None
    private_key = bytes.fromhex(content.private_key)
    keys = judge_keys(head.shop_key, content.statements)
    # After a rotation the first key is no longer the one that signs.
    if derive_public_key(private_key).hex() != keys.current:
        raise BackupError("the key in the backup is not that of its shop")
    return Identity(head.shop, bytes.fromhex(head.shop_key), private_key, content.statements)


def is_backup_file(path: Path) -> bool:
    """Return whether a file begins as a backup does; raises OSError."""
    with path.open("rb") as file:
        return BACKUP_FORMAT.encode() in file.read(100)


def _derive_key(passphrase: str, head: _Head) -> bytes:
    """Return the cipher's key. Raises BackupError for parameters that scrypt does not have."""
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

    # The same words typed on another keyboard may come as other code points (Unicode, Annex 15).
    words = unicodedata.normalize("NFKC", passphrase).encode()
    try:
        return Scrypt(bytes.fromhex(head.salt), _KEY_BYTES, n=head.cost, r=head.block, p=1).derive(
            words
        )
    except (ValueError, MemoryError):
        raise BackupError("the backup names a key derivation that is not possible here") from None


def _format_head(head: _Head) -> bytes:
    document: dict[str, Any] = head.model_dump()
    return json.dumps(document, sort_keys=True).encode()
