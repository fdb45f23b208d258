"""The manifest of a published folio: the names, sizes and digests of its files.

README.md in this folder documents the format. Manifests are untrusted: the size of a manifest and
every number in it are bounded, and file names are derived from digests, never read from it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import Field, ValidationError, model_validator

from ...schema.errors import PinfolioError
from ...schema.model import Model
from ...schema.note import Digest, Handle
from ...schema.text import visible

FORMAT: Final = "pinfolio folio 1"
MANIFEST: Final = "manifest.json"
MOST_MANIFEST_BYTES: Final = 4_000_000
PIECE_BYTES: Final = 4 * 2**20
_LONGEST_FORMAT: Final = 60  # characters of an unknown format that are quoted

Count = Annotated[int, Field(ge=0, le=10**12, strict=True)]


class ManifestError(PinfolioError):
    """The file is not a manifest, or it contradicts itself; the message says why."""


class PublishedFile(Model):
    """The folio file, divided into pieces of equal length (the last may be shorter)."""

    sha256: Digest
    size: Annotated[int, Field(ge=512, le=2**40, strict=True)]
    """Length in bytes."""
    piece_size: Annotated[int, Field(ge=2**16, le=2**26, strict=True)]
    """Length of a piece in bytes."""
    pieces: tuple[Digest, ...]
    """SHA-256 of each piece."""

    @model_validator(mode="after")
    def _check_pieces(self) -> PublishedFile:
        expected = -(-self.size // self.piece_size)
        if len(self.pieces) != expected:
            raise ValueError(f"has {len(self.pieces)} pieces, but its size requires {expected}")
        return self

    @property
    def name(self) -> str:
        """File name in the published folder, derived from the digest."""
        return f"folio-{self.sha256}.db"


class PublishedPages(Model):
    """The static pages, in a folder named after the digest of their list of digests."""

    sha256: Digest
    """SHA-256 of ``SHA256SUMS`` in that folder, which lists all other files."""
    drawn_with: Digest
    """Digest of the program files that drew them: when it changes, they are redrawn."""
    files: Count
    size: Count
    """Total length in bytes."""

    @property
    def name(self) -> str:
        """Name of their folder."""
        return f"pages-{self.sha256}"


class FolioManifest(Model):
    """The contents of a published folder."""

    format: Literal["pinfolio folio 1"] = "pinfolio folio 1"
    made_by: Annotated[str, Field(max_length=80)]
    """Name and version of the program that published it."""
    schema_version: Count
    """Version of the folio's tables."""
    built: Annotated[str, Field(max_length=40)]
    """Build time of the folio, in ISO 8601."""
    content: Digest
    """Digest of the folio's contents, independent of how it was built."""
    chips: Count
    pins: Count
    notes: Count
    shop: Handle | None = None
    """Handle of the shop that signed the manifest."""
    folio: PublishedFile
    pages: PublishedPages | None = None

    def to_bytes(self) -> bytes:
        """Return the manifest as published; the signature covers exactly these bytes."""
        text = json.dumps(self.model_dump(mode="json"), indent=1, ensure_ascii=False)
        return f"{text}\n".encode()


def read_manifest(data: bytes, name: str) -> FolioManifest:
    """Return the manifest in ``data``; ``name`` is the file, for messages. Raises ManifestError."""
    try:
        document: Any = json.loads(data)
    except (ValueError, RecursionError):
        raise ManifestError(f"{name}: not JSON, so not a manifest") from None
    # The format comes first: of another version every field could be invalid.
    file_format = document.get("format") if isinstance(document, dict) else None
    if file_format != FORMAT:
        shown_format = visible(str(file_format))[:_LONGEST_FORMAT]
        raise ManifestError(
            f"{name}: the format is {shown_format!r}, but this pinfolio reads {FORMAT!r}"
        )
    try:
        return FolioManifest.model_validate_json(data)
    except ValidationError as error:
        first_error = error.errors()[0]
        field = visible(".".join(str(step) for step in first_error["loc"])) or "its top level"
        raise ManifestError(f"{name}: invalid at {field}: {visible(first_error['msg'])}") from None


def name_signature(manifest: bytes) -> str:
    """Return the name of the file that holds the signature of these manifest bytes."""
    return f"signature-{hashlib.sha256(manifest).hexdigest()}"


def read_pieces(path: Path) -> Iterator[bytes]:
    """Yield a file in pieces of ``PIECE_BYTES``; the last may be shorter. Raises OSError."""
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            yield piece


def describe_file(pieces: Iterable[bytes]) -> PublishedFile:
    """Return the manifest entry of a file given by its pieces, as from ``read_pieces``."""
    file_digest, digests, size = hashlib.sha256(), [], 0
    for piece in pieces:
        file_digest.update(piece)
        digests.append(hashlib.sha256(piece).hexdigest())
        size += len(piece)
    return PublishedFile(
        sha256=file_digest.hexdigest(), size=size, piece_size=PIECE_BYTES, pieces=tuple(digests)
    )
