"""Verify that a published folio is signed by the expected shop (Ed25519, RFC 8032)."""

from __future__ import annotations

import re
from typing import Final

from ..keys.signing_key import SIGNATURE_BYTES, is_signed
from .fetching import FetchError, SignatureCheck
from .manifest import FolioManifest

_HEX_DIGITS: Final = 2 * SIGNATURE_BYTES


def expect_signature(handle: str, *public_keys: bytes) -> SignatureCheck:
    """Return a check that accepts only manifests signed by this shop with one of these keys."""

    def check(manifest: FolioManifest, data: bytes, signature: bytes) -> None:
        if manifest.shop != handle:
            raise FetchError(f"the folio is published by {manifest.shop}, not by {handle}")
        if not re.fullmatch(rb"[0-9a-f]{%d}\n" % _HEX_DIGITS, signature):
            raise FetchError(f"the signature is not {_HEX_DIGITS} hexadecimal digits")
        signed = bytes.fromhex(signature.decode())
        if not any(is_signed(public_key, signed, data) for public_key in public_keys):
            raise FetchError(f"the signature is wrong: this manifest is not what {handle} signed")

    return check
