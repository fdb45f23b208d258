"""The manifest of a published folio: what is in the folder, and by which digests it is known.

DEVELOPERS.md has the format. A manifest that is read comes from anywhere: its size and every size
in it are bounded, and no name in it is used but the one that its own digest gives.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import Field, ValidationError, model_validator

from ...schema.model import Model
from ...schema.note import Digest, Handle
from ...schema.text import visible

FORMAT: Final = "pinfolio folio 1"
MANIFEST: Final = "manifest.json"
MOST_MANIFEST_BYTES: Final = 4_000_000
PIECE_BYTES: Final = 4 * 2**20

Count = Annotated[int, Field(ge=0, le=10**12, strict=True)]


class ManifestError(Exception):
    """What should be a manifest is none, or does not hold together; the message says why."""


class PublishedFile(Model):
    """The folio, in pieces that are verified one by one; all of one length but the last."""

    sha256: Digest
    size: Annotated[int, Field(ge=512, le=2**40, strict=True)]
    """Its length in bytes."""
    piece_size: Annotated[int, Field(ge=2**16, le=2**26, strict=True)]
    """Bytes of every piece but the last."""
    pieces: tuple[Digest, ...]
    """SHA-256 of each piece."""

    @model_validator(mode="after")
    def _check_pieces(self) -> PublishedFile:
        expected = -(-self.size // self.piece_size)
        if len(self.pieces) != expected:
            raise ValueError(f"found {len(self.pieces)} pieces, expected {expected}")
        return self

    @property
    def name(self) -> str:
        """Its name in the folder, which is made of its digest."""
        return f"folio-{self.sha256}.db"


class PublishedPages(Model):
    """The static pages, in a folder named by the digest of the list of their digests."""

    sha256: Digest
    """SHA-256 of the file ``SHA256SUMS`` in that folder, which lists all others."""
    drawn_with: Digest
    """Digest of the program's files that draw them: another draws them anew."""
    files: Count
    size: Count
    """Bytes of all of them together."""

    @property
    def name(self) -> str:
        """The name of their folder."""
        return f"pages-{self.sha256}"


class FolioManifest(Model):
    """What a published folder says of itself."""

    format: Literal["pinfolio folio 1"] = "pinfolio folio 1"
    made_by: Annotated[str, Field(max_length=80)]
    """Program and version that published it."""
    schema_version: Count
    """Version of the folio's tables."""
    built: Annotated[str, Field(max_length=40)]
    """When the folio was built, in ISO 8601."""
    content: Digest
    """Digest of what the folio holds, however it was built."""
    chips: Count
    pins: Count
    notes: Count
    shop: Handle | None = None
    """The shop whose key signed the manifest."""
    folio: PublishedFile
    pages: PublishedPages | None = None

    def to_bytes(self) -> bytes:
        """The manifest as it is published; these bytes are what is signed."""
        text = json.dumps(self.model_dump(mode="json"), indent=1, ensure_ascii=False)
        return f"{text}\n".encode()


def read_manifest(said: bytes, where: str) -> FolioManifest:
    """The manifest in these bytes, from ``where``; raises ManifestError."""
    try:
        document: Any = json.loads(said)
    except (ValueError, RecursionError):
        raise ManifestError(f"{where}: found no JSON, expected a manifest") from None
    theirs = document.get("format") if isinstance(document, dict) else None
    if theirs != FORMAT:
        raise ManifestError(
            f"{where}: its format is {visible(str(theirs))[:60]!r}, this pinfolio reads {FORMAT!r}"
        )
    try:
        return FolioManifest.model_validate_json(said)
    except ValidationError as refused:
        first = refused.errors()[0]
        place = visible(".".join(str(step) for step in first["loc"]))
        raise ManifestError(
            f"{where}: the manifest is faulty at {place or 'its top'}: {visible(first['msg'])}"
        ) from None


def signature_name(said: bytes) -> str:
    """Name of the file with the signature of a manifest: a new manifest has a new one."""
    return f"signature-{hashlib.sha256(said).hexdigest()}"


def pieces_of(path: Path) -> Iterator[bytes]:
    """A file in pieces of ``PIECE_BYTES``, the last maybe less. Raises OSError."""
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            yield piece


def described(pieces: Iterable[bytes]) -> PublishedFile:
    """What is published of a file that comes as ``pieces_of`` gives it."""
    whole, digests, size = hashlib.sha256(), [], 0
    for piece in pieces:
        whole.update(piece)
        digests.append(hashlib.sha256(piece).hexdigest())
        size += len(piece)
    return PublishedFile(
        sha256=whole.hexdigest(), size=size, piece_size=PIECE_BYTES, pieces=tuple(digests)
    )
