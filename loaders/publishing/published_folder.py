"""A folio laid out for any web server: a folder whose files are named by what is in them.

Nothing in the folder changes under its name but ``manifest.json`` and ``index.html``, which are
put in place last, each in one step. So whoever reads meanwhile, or finds what a stopped machine
left, has the old edition or the new one. DEVELOPERS.md has the layout.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Final

from ..folio.folio import open_folio
from ..folio.folio_file import SCHEMA_VERSION, FolioError, check_folio_file
from ..folio.folio_placement import flush
from ..shop.shop_folder import Shop
from ..shop.signing_key import sign
from ..system.atomic_write import replace_text
from ..system.locks import Busy, lock
from .manifest import (
    MANIFEST,
    FolioManifest,
    ManifestError,
    PublishedFile,
    PublishedPages,
    described,
    pieces_of,
    read_manifest,
    signature_name,
)

if TYPE_CHECKING:
    from ..folio.build import Progress

SUMS: Final = "SHA256SUMS"
INDEX: Final = "index.html"
_LOCK: Final = ".publishing"
_HALF_WAY: Final = (".folio.new", ".pages.new", ".pages.gone")
_NEW_FOLIO, _NEW_PAGES, _GONE = _HALF_WAY
_LEFT: Final = re.compile(
    r"\.folio\.new|\.pages\.(new|gone)"
    r"|\.(manifest\.json|index\.html|signature-[0-9a-f]{64})\.[0-9a-f]{8}\.new"  # of whole_file
)
_OURS: Final = re.compile(r"folio-[0-9a-f]{64}\.db|pages-[0-9a-f]{64}|signature-[0-9a-f]{64}")

WritePages = Callable[[Path, Path], None]
"""Given a whole folio and an empty folder: writes the pages of the one into the other."""


@dataclass(frozen=True)
class Pages:
    """How pages come about."""

    write: WritePages
    drawn_with: str
    """SHA-256 of what they are drawn with; when that is another, they are drawn anew."""


class PublishError(Exception):
    """The folio cannot be published there; what was published is as it was."""


@dataclass(frozen=True)
class Published:
    """What publishing did."""

    manifest: FolioManifest
    is_new: bool
    """Whether anything had to be written that was not there."""
    removed: tuple[str, ...]
    """What no manifest names any longer and was taken away."""


def publish(
    folio: Path,
    folder: Path,
    pages: Pages | None = None,
    *,
    shop: Shop | None = None,
    prune: bool = False,
    progress: Progress | None = None,
) -> Published:
    """Lay the folio out in ``folder``; without ``pages``, none.

    The manifest is signed with the key of ``shop``. ``prune`` takes away what earlier editions
    left. Raises FolioError for what is no whole folio, PublishError where it cannot be written.
    """
    check_folio_file(folio)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _alone_in(folder):
            return _publish(folio, folder, pages, shop, prune, progress)
    except OSError as fault:
        raise PublishError(f"{folder}: cannot be written ({fault.strerror})") from fault


def _publish(
    folio: Path,
    folder: Path,
    pages: Pages | None,
    shop: Shop | None,
    prune: bool,
    progress: Progress | None,
) -> Published:
    before = _published_before(folder)
    file = _put_folio(folio, folder, before, progress)
    published = folder / file.name  # never replaced under our feet, as ``folio`` might be
    with open_folio(published) as opened:
        info = opened.info
    put = None
    if pages is not None:
        put = _pages_before(before, file, folder, pages) or _put_pages(published, folder, pages)
    manifest = FolioManifest(
        made_by=_made_by(),
        schema_version=SCHEMA_VERSION,
        built=info.built,
        content=info.digest,
        chips=info.chips,
        pins=info.pins,
        notes=info.notes,
        shop=shop.handle if shop else None,
        folio=file,
        pages=put,
    )
    said = manifest.to_bytes()
    if shop is not None:
        replace_text(folder / signature_name(said), f"{sign(shop.private_key(), said).hex()}\n")
    if manifest != before:
        replace_text(folder / INDEX, _front_page(manifest))
        flush(folder)
        replace_text(folder / MANIFEST, said.decode())
        flush(folder)
    removed = tuple(_prune(folder, manifest, said)) if prune else ()
    return Published(manifest, manifest != before, removed)


def _made_by() -> str:
    return f"pinfolio {version('pinfolio')}"


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Nobody else publishes here meanwhile, and what somebody left half-way is taken away."""
    with (folder / _LOCK).open("a") as held:
        try:
            lock(held)
        except Busy:
            raise PublishError(f"{folder}: somebody else is publishing here; wait") from None
        for left in [path for path in folder.iterdir() if _LEFT.fullmatch(path.name)]:
            _remove(left)
        yield


def _published_before(folder: Path) -> FolioManifest | None:
    """The manifest that is there; None where there is none that can be read."""
    try:
        return read_manifest((folder / MANIFEST).read_bytes(), MANIFEST)
    except (FileNotFoundError, ManifestError):
        return None


def _put_folio(
    folio: Path, folder: Path, before: FolioManifest | None, progress: Progress | None
) -> PublishedFile:
    """The folio under the name of its digest, copied if it is not there whole."""
    if before is not None and _is_there(folio, folder, before.folio, progress):
        return before.folio
    new = folder / _NEW_FOLIO
    with new.open("xb") as copy:
        file = described(_copied(_pieces(folio, "copying", progress), copy))
    try:
        check_folio_file(new, afresh=True)
    except FolioError as refused:
        raise PublishError(f"{folio}: was changed while it was copied ({refused})") from None
    flush(new)
    new.replace(folder / file.name)
    flush(folder)
    return file


def _is_there(folio: Path, folder: Path, file: PublishedFile, progress: Progress | None) -> bool:
    """Whether ``folio`` is the file that was published, and what was published is still whole."""
    place = folder / file.name
    return all(
        path.is_file()
        and path.stat().st_size == file.size
        and described(_pieces(path, "comparing", progress)).sha256 == file.sha256
        for path in (place, folio)
    )


def _copied(pieces: Iterator[bytes], copy: BinaryIO) -> Iterator[bytes]:
    for piece in pieces:
        copy.write(piece)
        yield piece


def _pieces(path: Path, what: str, progress: Progress | None) -> Iterator[bytes]:
    done, size = 0, path.stat().st_size
    for piece in pieces_of(path):
        yield piece
        done += len(piece)
        if progress is not None:
            progress(done >> 20, size >> 20, f"MB, {what}")


def _pages_before(
    before: FolioManifest | None, file: PublishedFile, folder: Path, pages: Pages
) -> PublishedPages | None:
    """The pages that are there already: of the same folio, drawn with the same, all whole."""
    if before is None or before.pages is None or before.folio != file:
        return None
    if before.pages.drawn_with != pages.drawn_with:
        return None
    there = _summed(folder / before.pages.name, pages.drawn_with)
    return there if there == before.pages else None


def _put_pages(folio: Path, folder: Path, pages: Pages) -> PublishedPages:
    """Pages under the name of the digest of their digests, written in a folder of their own."""
    new = folder / _NEW_PAGES
    new.mkdir()
    pages.write(folio, new)
    lines = (f"{digest}  {name}\n" for name, digest, _ in _digests(new))
    (new / SUMS).write_text("".join(lines), encoding="utf-8", newline="\n")
    made = _summed(new, pages.drawn_with)
    assert made is not None  # they were summed up a moment ago
    for path in new.rglob("*"):
        flush(path)
    place = folder / made.name
    if _summed(place, pages.drawn_with) == made:
        _remove(new)
        return made
    _remove(place)
    new.replace(place)
    flush(folder)
    return made


def _digests(folder: Path) -> Iterator[tuple[str, str, int]]:
    """Path, SHA-256 and length of each page below a folder, in the order of the paths."""
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name != SUMS:
            data = path.read_bytes()
            yield name, hashlib.sha256(data).hexdigest(), len(data)


def _summed(folder: Path, drawn_with: str) -> PublishedPages | None:
    """What the list in a folder of pages stands for; None when they are not as it says."""
    try:
        listed = (folder / SUMS).read_bytes()
    except OSError:
        return None
    found = list(_digests(folder))
    lines = "".join(f"{digest}  {name}\n" for name, digest, _ in found)
    if lines.encode() != listed:
        return None
    size = sum(length for _, _, length in found)
    return PublishedPages(
        sha256=hashlib.sha256(listed).hexdigest(),
        drawn_with=drawn_with,
        files=len(found),
        size=size,
    )


def _front_page(manifest: FolioManifest) -> str:
    """The one page whose address stays: it leads to the newest pages."""
    counts = f"{manifest.chips} chips, {manifest.pins} pins, built {escape(manifest.built[:10])}"
    where = f"{manifest.pages.name}/{INDEX}" if manifest.pages else manifest.folio.name
    move = f'<meta http-equiv="refresh" content="0; url={where}">\n' if manifest.pages else ""
    words = "Open the pages" if manifest.pages else "Take the folio"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"{move}<title>pinfolio</title>\n</head>\n<body>\n<main>\n"
        f'<h1>A folio of pin cards</h1>\n<p>{counts}. <a href="{where}">{words}</a>.</p>\n'
        "</main>\n</body>\n</html>\n"
    )


def _prune(folder: Path, manifest: FolioManifest, said: bytes) -> Iterator[str]:
    """Take away what publishing put here and the manifest does not name; each by its name."""
    kept = {manifest.folio.name, manifest.pages.name if manifest.pages else ""}
    kept.add(signature_name(said) if manifest.shop else "")
    for path in sorted(folder.iterdir()):
        if _OURS.fullmatch(path.name) and path.name not in kept:
            _remove(path)
            yield path.name


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        # Renamed first, so that no folder of pages is ever there by its name and not whole.
        if path.name not in _HALF_WAY:
            path = path.replace(path.with_name(_GONE))
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
