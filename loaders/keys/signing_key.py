"""Sign with a shop's key (Ed25519, RFC 8032) and format its fingerprint for reading aloud."""

from __future__ import annotations

import base64
import hashlib
from typing import Final

KEY_BYTES: Final = 32
SIGNATURE_BYTES: Final = 64
_FINGERPRINT_BYTES: Final = 10  # 80 bits, sixteen base 32 digits


def create_key() -> bytes:
    """Return a new random private key, 32 bytes."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate().private_bytes_raw()


def derive_public_key(private: bytes) -> bytes:
    """Return the 32-byte public key that belongs to a private key."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private).public_key().public_bytes_raw()


def sign(private: bytes, message: bytes) -> bytes:
    """Return the 64-byte signature of a message; deterministic (RFC 8032, section 5.1.6)."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.from_private_bytes(private).sign(message)


def is_signed(public: bytes, signature: bytes, message: bytes) -> bool:
    """Return whether the owner of the key signed exactly this message."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def format_fingerprint(public: bytes) -> str:
    """Return sixteen letters and digits, in groups of four, to compare a public key by voice.

    They are the first 80 bits of its SHA-256 in base 32 (RFC 4648), an alphabet without 0, 1
    and 8, which are easily misheard.
    """
    digest = hashlib.sha256(public).digest()[:_FINGERPRINT_BYTES]
    digits = base64.b32encode(digest).decode().lower()
    return " ".join(digits[start : start + 4] for start in range(0, len(digits), 4))
