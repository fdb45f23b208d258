"""Whether a published folio is from the shop it is expected from (Ed25519, RFC 8032)."""

from __future__ import annotations

import re

from ..shop.signing_key import SIGNATURE_BYTES, is_signed
from .fetching import FetchError, SignedBy
from .manifest import FolioManifest


def signed_by(handle: str, public_key: bytes) -> SignedBy:
    """Takes a manifest that this shop signed with this key, and refuses every other."""

    def check(manifest: FolioManifest, said: bytes, signature: bytes) -> None:
        if manifest.shop != handle:
            raise FetchError(f"the folio is published by {manifest.shop}, not by {handle}")
        if not re.fullmatch(rb"[0-9a-f]{%d}\n" % (2 * SIGNATURE_BYTES), signature):
            raise FetchError(f"its signature is not {2 * SIGNATURE_BYTES} hexadecimal digits")
        if not is_signed(public_key, bytes.fromhex(signature.decode()), said):
            raise FetchError(f"its signature is wrong: it is not as {handle} published it")

    return check
