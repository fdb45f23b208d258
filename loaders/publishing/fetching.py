"""Fetch a published folio: verify every piece, resume after interruptions, replace atomically.

Received bytes are kept beside the destination in a file named after the digest of the folio, so an
interrupted fetch continues where it stopped. The old folio is replaced only by a complete one that
matches its manifest.
"""

from __future__ import annotations

import hashlib
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...schema.errors import PinfolioError
from ...schema.text import visible
from ..folio.folio import open_folio
from ..folio.folio_file import SCHEMA_VERSION, FolioError, check_folio_file
from ..folio.folio_placement import refuse_other_file
from ..system.atomic_write import move_into_place
from .download_source import ConnectionLostError, MissingFileError, Source, SourceError
from .manifest import (
    MANIFEST,
    MOST_MANIFEST_BYTES,
    FolioManifest,
    ManifestError,
    PublishedFile,
    name_signature,
    read_manifest,
)
from .partial_download import (
    FetchInProgressError,
    PartialDownload,
    WrongPieceError,
    remove_other_downloads,
)

if TYPE_CHECKING:
    from ..folio.build import Progress

_ATTEMPTS: Final = 4
"""Broken connections in a row, and wrong pieces in all, after which a fetch gives up."""
_PAUSE_S: Final = 0.5
_PROGRESS_BYTES: Final = 2**16
"""A connection that delivered this much before it broke does not count as a failure."""
_MOST_SIGNATURE_BYTES: Final = 1_000

SignatureCheck = Callable[[FolioManifest, bytes, bytes], None]
"""Called with a manifest, its bytes and the signature; raises FetchError if they do not match."""


class FetchError(PinfolioError):
    """The folio cannot be fetched; the old one is untouched."""


@dataclass(frozen=True)
class FetchResult:
    """The manifest of the fetched folio, and how much was downloaded."""

    manifest: FolioManifest
    received_bytes: int | None
    """None when the same folio was already there."""


def fetch_folio(
    source: Source,
    out: Path,
    progress: Progress | None = None,
    check_signature: SignatureCheck | None = None,
    *,
    older: bool = False,
) -> FetchResult:
    """Fetch the folio published at ``source`` to ``out``; return its manifest.

    With ``check_signature`` the manifest must be signed and pass that check. A folio built before
    the one at ``out`` is refused unless ``older`` is set: an attacker may offer an outdated edition
    again, however well signed.

    Raises FetchError, or FolioError when ``out`` must not be replaced; ``out`` then stays as it
    was.
    """
    out = out.resolve()
    refuse_other_file(out)
    try:
        manifest = _read_manifest(source, check_signature)
        if _holds(out, manifest.folio):
            return FetchResult(manifest, None)  # already up to date
        if not older:
            _refuse_older(manifest, out)
        try:
            received_bytes = _download(source, manifest.folio, out, progress)
        except MissingFileError:
            # A new edition was published, and the old one removed, after the manifest was read.
            manifest = _read_manifest(source, check_signature)
            if not older:
                _refuse_older(manifest, out)
            received_bytes = _download(source, manifest.folio, out, progress)
    except (SourceError, ManifestError) as error:
        raise FetchError(f"{source.address}: {error}") from None
    except FetchInProgressError as error:
        raise FetchError(str(error)) from None
    except OSError as error:
        raise FetchError(f"{out}: cannot be written ({error.strerror})") from error
    return FetchResult(manifest, received_bytes)


def _read_manifest(source: Source, check_signature: SignatureCheck | None) -> FolioManifest:
    """Return a source's manifest, its signature checked if asked for. Raises FetchError."""
    manifest_bytes = source.read_small(MANIFEST, MOST_MANIFEST_BYTES)
    manifest = read_manifest(manifest_bytes, MANIFEST)
    if check_signature is not None:
        # The signature's name contains the digest of its manifest, so the two always match, even
        # while a new edition is being published.
        try:
            signature = source.read_small(name_signature(manifest_bytes), _MOST_SIGNATURE_BYTES)
        except MissingFileError:
            raise FetchError(f"{source.address}: the manifest is not signed") from None
        check_signature(manifest, manifest_bytes, signature)
    if manifest.schema_version != SCHEMA_VERSION:
        raise FetchError(
            f"{source.address}: the folio has schema version {manifest.schema_version}"
            f", but this pinfolio reads {SCHEMA_VERSION}; install the matching pinfolio"
        )
    return manifest


def _holds(out: Path, wanted: PublishedFile) -> bool:
    """Return whether ``out`` is this very folio, byte for byte."""
    if not out.is_file() or out.stat().st_size != wanted.size:
        return False
    with out.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == wanted.sha256


def _refuse_older(manifest: FolioManifest, out: Path) -> None:
    """Raise FetchError when the folio at ``out`` was built later than the published one."""
    try:
        with open_folio(out) as folio:
            built = folio.info.built
    except FolioError:
        return  # a damaged folio may be replaced by any edition
    if _parse_time(manifest.built) < _parse_time(built):
        raise FetchError(
            f"{out}: built {built}, later than the published folio of {manifest.built}"
            "; to replace it anyway: --older"
        )


def _parse_time(built: str) -> datetime:
    """Return a build time given in ISO 8601, by default UTC; raises ManifestError."""
    try:
        moment = datetime.fromisoformat(built)
    except ValueError:
        raise ManifestError(
            f"{MANIFEST}: the build time {visible(built)!r} is not in ISO 8601"
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _download(source: Source, wanted: PublishedFile, out: Path, progress: Progress | None) -> int:
    """Download the missing bytes, verify the folio and move it to ``out``; return their number."""
    out.parent.mkdir(parents=True, exist_ok=True)
    with PartialDownload.open_beside(out, wanted) as partial:
        missing_bytes = wanted.size - partial.size
        _check_room(out.parent, missing_bytes)
        _complete(source, partial, progress)
        try:
            if not partial.is_right:
                raise FetchError("the download does not match the manifest")
            check_folio_file(partial.path, afresh=True)
        except (FetchError, FolioError) as error:
            partial.path.unlink()  # resuming it would only end here again
            raise FetchError(f"{source.address}: {error}") from None
        move_into_place(partial.path, out)
    remove_other_downloads(out)
    return missing_bytes


def _complete(source: Source, partial: PartialDownload, progress: Progress | None) -> None:
    """Download until the file is complete, resuming broken connections while they deliver.

    Raises ConnectionLostError after a few attempts in a row that brought almost nothing, and
    SourceError after as many pieces that differ from the manifest.
    """
    failures_in_a_row = wrong_pieces = 0
    while not partial.is_complete:
        size_before = partial.size
        try:
            _receive(source, partial, progress)
        except ConnectionLostError as error:
            has_progressed = partial.size - size_before >= _PROGRESS_BYTES
            failures_in_a_row = 0 if has_progressed else failures_in_a_row + 1
            if failures_in_a_row == _ATTEMPTS:
                raise ConnectionLostError(f"{error}; run the same command to continue") from None
            # A longer pause each time, for a server that is being restarted.
            time.sleep(failures_in_a_row * _PAUSE_S)
        except WrongPieceError as error:
            wrong_pieces += 1
            if wrong_pieces == _ATTEMPTS:
                raise SourceError(f"{partial.wanted.name}: {error}") from None
    partial.finish()


def _receive(source: Source, partial: PartialDownload, progress: Progress | None) -> None:
    wanted = partial.wanted
    with source.open_stream(wanted.name, partial.size, wanted.size) as chunks:
        for size in partial.receive(chunks):
            if progress is not None:
                progress(size >> 20, wanted.size >> 20, "MB")
    if not partial.is_complete:
        raise ConnectionLostError(f"{wanted.name}: the connection broke off")


def _check_room(folder: Path, needed_bytes: int) -> None:
    free_bytes = shutil.disk_usage(folder).free
    if needed_bytes > free_bytes:
        raise FetchError(
            f"{folder}: {free_bytes:,} bytes are free, but the folio needs {needed_bytes:,}"
            " more; make room"
        )
