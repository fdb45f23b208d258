"""The key a shop signs its bundles with (Ed25519, RFC 8032), and its short form to read aloud."""

from __future__ import annotations

import base64
import hashlib
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

KEY_BYTES: Final = 32
SIGNATURE_BYTES: Final = 64


def new_key() -> bytes:
    """A private key, drawn at random: 32 bytes."""
    return Ed25519PrivateKey.generate().private_bytes_raw()


def public_half(private: bytes) -> bytes:
    """The 32 bytes of the public key that belongs to a private one."""
    return Ed25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def sign(private: bytes, message: bytes) -> bytes:
    """The signature of a message, 64 bytes; the same each time (RFC 8032, section 5.1.6)."""
    return Ed25519PrivateKey.from_private_bytes(private).sign(message)


def is_signed(public: bytes, signature: bytes, message: bytes) -> bool:
    """Whether the holder of the private half signed exactly this message."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(public: bytes) -> str:
    """Sixteen letters and digits in fours that stand for a public key, to compare by voice.

    The first 80 bits of its SHA-256 in the base 32 of RFC 4648, which has no 0, 1 or 8 to mishear.
    """
    letters = base64.b32encode(hashlib.sha256(public).digest()[:10]).decode().lower()
    return " ".join(letters[place : place + 4] for place in range(0, 16, 4))
