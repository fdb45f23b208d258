"""Publish a folio as a static site with content-addressed file names.

Only ``manifest.json`` and ``index.html`` ever change their contents. They are replaced last, each
atomically, so readers see the old edition or the new one, even after a crash. README.md in this
folder documents the layout.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from ...schema.errors import PinfolioError
from ..folio.folio import open_folio
from ..folio.folio_file import SCHEMA_VERSION, FolioError, check_folio_file
from ..keys.signing_key import sign
from ..shop.shop_folder import Shop
from ..system.atomic_write import move_into_place, sync_to_disk, write_atomically
from ..system.locks import BusyError, lock_file
from .manifest import (
    MANIFEST,
    FolioManifest,
    ManifestError,
    PublishedFile,
    PublishedPages,
    describe_file,
    name_signature,
    read_manifest,
    read_pieces,
)

if TYPE_CHECKING:
    from ..folio.build import Progress

SUMS: Final = "SHA256SUMS"
INDEX: Final = "index.html"
_LOCK: Final = ".publishing"
_NEW_FOLIO: Final = ".folio.new"
_NEW_PAGES: Final = ".pages.new"
_OLD_PAGES: Final = ".pages.gone"
_TEMPORARY: Final = (_NEW_FOLIO, _NEW_PAGES, _OLD_PAGES)
_LEFTOVER: Final = re.compile(
    r"\.folio\.new|\.pages\.(new|gone)"
    # Temporary files of ``write_atomically``.
    r"|\.(manifest\.json|index\.html|signature-[0-9a-f]{64})\.[0-9a-f]{8}\.new"
)
_PUBLISHED: Final = re.compile(r"folio-[0-9a-f]{64}\.db|pages-[0-9a-f]{64}|signature-[0-9a-f]{64}")

WritePages = Callable[[Path, Path], None]
"""Writes the pages of a folio, the first argument, into an empty folder, the second."""


@dataclass(frozen=True)
class Pages:
    """How to draw the static pages."""

    write: WritePages
    drawn_with: str
    """SHA-256 of the program files that draw them; when it changes, pages are redrawn."""


class PublishError(PinfolioError):
    """The folio cannot be published there; the earlier edition is untouched."""


@dataclass(frozen=True)
class PublishResult:
    """The manifest of the published folder, and the changes made."""

    manifest: FolioManifest
    is_new: bool
    """Whether anything was written."""
    removed: tuple[str, ...]
    """Names of the files and folders of earlier editions that were removed."""


def publish(
    folio: Path,
    folder: Path,
    pages: Pages | None = None,
    *,
    shop: Shop | None = None,
    prune: bool = False,
    progress: Progress | None = None,
) -> PublishResult:
    """Publish ``folio`` in ``folder``, without pages unless ``pages`` says how to draw them.

    With ``shop`` its key signs the manifest. ``prune`` removes earlier editions.

    Raises FolioError when ``folio`` is not an intact folio, PublishError when the folder cannot be
    written.
    """
    check_folio_file(folio)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _lock_and_clean(folder):
            return _publish(folio, folder, pages, shop, prune, progress)
    except OSError as error:
        raise PublishError(f"{folder}: cannot be written ({error.strerror})") from error


def _publish(
    folio: Path,
    folder: Path,
    pages: Pages | None,
    shop: Shop | None,
    prune: bool,
    progress: Progress | None,
) -> PublishResult:
    """Put folio, pages and manifest into the folder; return the manifest and the changes.

    The manifest comes last: readers then see either the earlier edition or the whole new one.
    """
    earlier_manifest = _read_earlier_manifest(folder)
    folio_file = _put_folio(folio, folder, earlier_manifest, progress)
    published_folio = folder / folio_file.name  # unlike ``folio``, nobody replaces it meanwhile
    with open_folio(published_folio) as opened:
        info = opened.info
    published_pages = None
    if pages is not None:
        published_pages = _reuse_pages(earlier_manifest, folio_file, folder, pages)
        published_pages = published_pages or _put_pages(published_folio, folder, pages)
    manifest = FolioManifest(
        made_by=f"pinfolio {version('pinfolio')}",
        schema_version=SCHEMA_VERSION,
        built=info.built,
        content=info.digest,
        chips=info.chips,
        pins=info.pins,
        notes=info.notes,
        shop=shop.handle if shop else None,
        folio=folio_file,
        pages=published_pages,
    )
    manifest_bytes = manifest.to_bytes()
    if shop is not None:
        signature = sign(shop.load_private_key(), manifest_bytes).hex()
        write_atomically(folder / name_signature(manifest_bytes), f"{signature}\n")
    # Compared as bytes, so that a damaged one is written again. The manifest comes last.
    changing = {INDEX: _write_front_page(manifest).encode(), MANIFEST: manifest_bytes}
    is_changed = any(_read_earlier(folder / name) != data for name, data in changing.items())
    if is_changed:
        for name, data in changing.items():
            write_atomically(folder / name, data)
    removed = tuple(_prune(folder, manifest, manifest_bytes)) if prune else ()
    return PublishResult(manifest, is_changed, removed)


@contextmanager
def _lock_and_clean(folder: Path) -> Iterator[None]:
    """Lock the folder against other publishers and remove the leftovers of a killed one."""
    with (folder / _LOCK).open("a") as file:
        try:
            lock_file(file)
        except BusyError:
            raise PublishError(
                f"{folder}: another process is publishing here; wait until it has finished"
            ) from None
        for leftover in [path for path in folder.iterdir() if _LEFTOVER.fullmatch(path.name)]:
            _remove(leftover)
        yield


def _read_earlier_manifest(folder: Path) -> FolioManifest | None:
    """Return the manifest of the earlier edition; None if there is no readable one."""
    try:
        return read_manifest(_read_earlier(folder / MANIFEST), MANIFEST)
    except ManifestError:
        return None


def _read_earlier(path: Path) -> bytes:
    """Return the bytes of a file of the earlier edition; none if there is no such file."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""


def _put_folio(
    folio: Path, folder: Path, earlier: FolioManifest | None, progress: Progress | None
) -> PublishedFile:
    """Copy the folio under the name of its digest, unless an intact copy is already there."""
    if earlier is not None and _is_published(folio, folder, earlier.folio, progress):
        return earlier.folio
    copy_path = folder / _NEW_FOLIO
    with copy_path.open("xb") as copy:
        chunks = _read_with_progress(folio, "copying", progress)
        folio_file = describe_file(_copy(chunks, copy))
    # The folio was intact before the copy, so a fault now means that it was changed meanwhile.
    try:
        check_folio_file(copy_path, afresh=True)
    except FolioError as error:
        raise PublishError(f"{folio}: was changed while it was copied ({error})") from None
    move_into_place(copy_path, folder / folio_file.name)
    return folio_file


def _is_published(
    folio: Path, folder: Path, file: PublishedFile, progress: Progress | None
) -> bool:
    """Return whether ``folio`` and the published copy both still match the manifest."""
    return all(
        path.is_file()
        and path.stat().st_size == file.size
        and describe_file(_read_with_progress(path, "comparing", progress)).sha256 == file.sha256
        for path in (folder / file.name, folio)
    )


def _copy(pieces: Iterator[bytes], copy: BinaryIO) -> Iterator[bytes]:
    """Write the pieces to ``copy`` while passing them on."""
    for piece in pieces:
        copy.write(piece)
        yield piece


def _read_with_progress(path: Path, activity: str, progress: Progress | None) -> Iterator[bytes]:
    done, size = 0, path.stat().st_size
    for piece in read_pieces(path):
        yield piece
        done += len(piece)
        if progress is not None:
            progress(done >> 20, size >> 20, f"MB, {activity}")


def _reuse_pages(
    earlier: FolioManifest | None, file: PublishedFile, folder: Path, pages: Pages
) -> PublishedPages | None:
    """Return the pages already published if they are intact and would be drawn the same."""
    if earlier is None or earlier.pages is None or earlier.folio != file:
        return None
    if earlier.pages.drawn_with != pages.drawn_with:
        return None
    published = _verify_pages(folder / earlier.pages.name, pages.drawn_with)
    return published if published == earlier.pages else None


def _put_pages(folio: Path, folder: Path, pages: Pages) -> PublishedPages:
    """Draw the pages in a temporary folder and rename it to the digest of their digests.

    Returns the manifest entry of the pages.
    """
    temporary = folder / _NEW_PAGES
    temporary.mkdir()
    pages.write(folio, temporary)
    write_atomically(temporary / SUMS, _format_sums(_compute_digests(temporary)))
    drawn_pages = _verify_pages(temporary, pages.drawn_with)
    assert drawn_pages is not None  # the list was written a moment ago
    for path in temporary.rglob("*"):
        sync_to_disk(path)
    place = folder / drawn_pages.name
    # The same pages may be there already, and be read at this moment: they stay.
    if _verify_pages(place, pages.drawn_with) == drawn_pages:
        _remove(temporary)
        return drawn_pages
    _remove(place)  # of that name, but damaged
    temporary.replace(place)
    sync_to_disk(folder)
    return drawn_pages


def _compute_digests(folder: Path) -> Iterator[tuple[str, str, int]]:
    """Yield name, SHA-256 and length of every file except the list of digests, by name."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name != SUMS:
            data = path.read_bytes()
            yield name, hashlib.sha256(data).hexdigest(), len(data)


def _verify_pages(folder: Path, drawn_with: str) -> PublishedPages | None:
    """Return the manifest entry of a folder of pages; None if they differ from its list."""
    try:
        sums = (folder / SUMS).read_bytes()
    except OSError:
        return None
    entries = list(_compute_digests(folder))
    if _format_sums(entries).encode() != sums:
        return None
    return PublishedPages(
        sha256=hashlib.sha256(sums).hexdigest(),
        drawn_with=drawn_with,
        files=len(entries),
        size=sum(length for _, _, length in entries),
    )


def _format_sums(entries: Iterable[tuple[str, str, int]]) -> str:
    """Return the list of digests as ``sha256sum -c`` reads it."""
    return "".join(f"{digest}  {name}\n" for name, digest, _ in entries)


def _write_front_page(manifest: FolioManifest) -> str:
    """Return the page whose address never changes: it leads to the newest pages."""
    counts = f"{manifest.chips} chips, {manifest.pins} pins, built {escape(manifest.built[:10])}"
    target = f"{manifest.pages.name}/{INDEX}" if manifest.pages else manifest.folio.name
    refresh = f'<meta http-equiv="refresh" content="0; url={target}">\n' if manifest.pages else ""
    label = "Open the pages" if manifest.pages else "Download the folio"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"{refresh}<title>pinfolio</title>\n</head>\n<body>\n<main>\n"
        f'<h1>A folio of pin cards</h1>\n<p>{counts}. <a href="{target}">{label}</a>.</p>\n'
        "</main>\n</body>\n</html>\n"
    )


def _prune(folder: Path, manifest: FolioManifest, data: bytes) -> Iterator[str]:
    """Remove published files that the manifest does not name; yield their names."""
    current = {manifest.folio.name, manifest.pages.name if manifest.pages else ""}
    current.add(name_signature(data) if manifest.shop else "")
    for path in sorted(folder.iterdir()):
        if _PUBLISHED.fullmatch(path.name) and path.name not in current:
            _remove(path)
            yield path.name


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        # Renamed first, so that a folder of pages is never incomplete under its own name.
        if path.name not in _TEMPORARY:
            path = path.replace(path.with_name(_OLD_PAGES))
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
