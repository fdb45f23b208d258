"""A published folio brought here: piece by piece, each verified, the old copy kept to the last.

What has come is kept beside the place, in a file named by the digest of the whole, so a fetch that
is stopped in any way goes on where it was. Only a whole folio that is what its manifest says takes
the place of the old one, in one step.
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

from ...schema.text import visible
from ..folio.folio import open_folio
from ..folio.folio_file import SCHEMA_VERSION, FolioError, check_folio_file
from ..folio.folio_placement import refuse_other_file, take_place
from .download_source import BrokenOff, NotThere, Source, SourceError
from .manifest import (
    MANIFEST,
    MOST_MANIFEST_BYTES,
    FolioManifest,
    ManifestError,
    PublishedFile,
    read_manifest,
    signature_name,
)
from .partial_download import BeingFetched, Partial, WrongPiece, remove_other_partials

if TYPE_CHECKING:
    from ..folio.build import Progress

_ATTEMPTS: Final = 4
"""How often in a row next to nothing may come, and how often altogether a piece may be wrong."""
_PAUSE_S: Final = 0.5
_WORTH_WAITING: Final = 2**16
"""Bytes for which a line that breaks again and again is tried on."""

SignedBy = Callable[[FolioManifest, bytes, bytes], None]
"""Given the manifest, its bytes and a signature: raises FetchError unless these belong together."""


class FetchError(Exception):
    """The folio cannot be fetched; what was here before is untouched."""


@dataclass(frozen=True)
class Fetched:
    """What fetching did."""

    manifest: FolioManifest
    came: int | None
    """Bytes of the folio that came; None when the very same folio was here already."""


def fetch_folio(
    source: Source,
    out: Path,
    progress: Progress | None = None,
    signed_by: SignedBy | None = None,
    *,
    older: bool = False,
) -> Fetched:
    """Bring the folio that is published at ``source`` to ``out``.

    With ``signed_by`` the manifest must be signed, and the signature as that wants it. One
    that was built before the folio that is here comes only with ``older``: it may be an old one
    offered again.
    Raises FetchError, or FolioError where ``out`` cannot be replaced; ``out`` then stays as it was.
    """
    out = out.resolve()
    refuse_other_file(out)
    try:
        manifest = _manifest(source, signed_by)
        if _is_here(out, manifest.folio):
            return Fetched(manifest, None)
        if not older:
            _refuse_older(manifest, out)
        try:
            came = _bring(source, manifest.folio, out, progress)
        except NotThere:  # published anew, and the old one taken away, since the manifest was read
            manifest = _manifest(source, signed_by)
            if not older:
                _refuse_older(manifest, out)
            came = _bring(source, manifest.folio, out, progress)
    except (SourceError, ManifestError) as refused:
        raise FetchError(f"{source.address}: {refused}") from None
    except BeingFetched as refused:
        raise FetchError(str(refused)) from None
    except OSError as fault:
        raise FetchError(f"{out}: cannot be written ({fault.strerror})") from fault
    return Fetched(manifest, came)


def _manifest(source: Source, signed_by: SignedBy | None) -> FolioManifest:
    said = source.small(MANIFEST, MOST_MANIFEST_BYTES)
    manifest = read_manifest(said, MANIFEST)
    if signed_by is not None:
        try:
            signature = source.small(signature_name(said), 1_000)
        except NotThere:
            raise FetchError(f"{source.address}: the manifest is not signed") from None
        signed_by(manifest, said, signature)
    if manifest.schema_version != SCHEMA_VERSION:
        raise FetchError(
            f"{source.address}: found a folio of schema version {manifest.schema_version},"
            f" this pinfolio reads {SCHEMA_VERSION}; use the pinfolio that goes with it"
        )
    return manifest


def _is_here(out: Path, wanted: PublishedFile) -> bool:
    """Whether ``out`` is the folio in question, byte for byte."""
    if not out.is_file() or out.stat().st_size != wanted.size:
        return False
    with out.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == wanted.sha256


def _refuse_older(manifest: FolioManifest, out: Path) -> None:
    """Raise FetchError where the folio here was built later; one that is damaged may be mended."""
    try:
        with open_folio(out) as here:
            built = here.info.built
    except FolioError:
        return
    if _moment(manifest.built) < _moment(built):
        raise FetchError(
            f"{out}: what is here was built {built}, what is offered {manifest.built}, which is"
            " older; to take it all the same: --older"
        )


def _moment(built: str) -> datetime:
    """The time as a folio has it, in ISO 8601; raises ManifestError."""
    try:
        moment = datetime.fromisoformat(built)
    except ValueError:
        raise ManifestError(
            f"{MANIFEST}: found {visible(built)!r} as the time it was built, expected ISO 8601"
        ) from None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _bring(source: Source, wanted: PublishedFile, out: Path, progress: Progress | None) -> int:
    """Fetch what is missing and give it its name; how many bytes came."""
    out.parent.mkdir(parents=True, exist_ok=True)
    with Partial.beside(out, wanted) as partial:
        before = partial.size
        _check_room(out.parent, wanted.size - before)
        _complete(source, partial, progress)
        try:
            if not partial.is_right:
                raise FetchError("what came is not the folio that the manifest names")
            check_folio_file(partial.path, afresh=True)
        except (FetchError, FolioError) as refused:
            partial.path.unlink()
            raise FetchError(f"{source.address}: {refused}") from None
        take_place(partial.path, out)
    remove_other_partials(out)
    return wanted.size - before


def _complete(source: Source, partial: Partial, progress: Progress | None) -> None:
    """Fetch until all is here; go on where it breaks off, as long as something comes."""
    failures = wrong = 0
    while not partial.is_complete:
        before = partial.size
        try:
            _receive(source, partial, progress)
        except BrokenOff as fault:
            failures = 0 if partial.size - before >= _WORTH_WAITING else failures + 1
            if failures == _ATTEMPTS:
                raise BrokenOff(f"{fault}; the same command goes on where it stopped") from None
            time.sleep(failures * _PAUSE_S)
        except WrongPiece as fault:
            wrong += 1
            if wrong == _ATTEMPTS:
                raise SourceError(f"{partial.wanted.name}: {fault}") from None
    partial.finish()


def _receive(source: Source, partial: Partial, progress: Progress | None) -> None:
    wanted = partial.wanted
    with source.opened(wanted.name, partial.size, wanted.size) as body:
        for here in partial.receive(body):
            if progress is not None:
                progress(here >> 20, wanted.size >> 20, "MB")
    if not partial.is_complete:
        raise BrokenOff(f"{wanted.name}: the connection broke off")


def _check_room(folder: Path, needed: int) -> None:
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise FetchError(
            f"{folder}: the folio needs {needed:,} bytes more, {free:,} are free; make room"
        )
