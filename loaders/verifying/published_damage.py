"""List the damages of a published folder. Writes nothing.

Most names in the folder are digests of the contents, so every edition is verified by its names, and
the newest one by the manifest too. ../publishing/README.md documents the layout.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from pydantic import ValidationError

from ..errors import Fault
from ..keys.signing_key import SIGNATURE_BYTES
from ..publishing.fetching import FetchError, SignatureCheck
from ..publishing.manifest import (
    MANIFEST,
    MOST_MANIFEST_BYTES,
    FolioManifest,
    ManifestError,
    describe_file,
    name_signature,
    read_manifest,
    read_pieces,
)
from ..publishing.published_folder import INDEX, SUMS
from ..system.regular_files import open_regular, read_regular
from ..system.shell_words import quote_word

_FOLIO: Final = re.compile(r"folio-([0-9a-f]{64})\.db")
_PAGES: Final = re.compile(r"pages-([0-9a-f]{64})")
_SIGNATURE: Final = re.compile(r"signature-[0-9a-f]{64}")
_SUM: Final = re.compile(r"([0-9a-f]{64})  ([^\0]+)")
_SIGNATURE_TEXT: Final = re.compile(rb"[0-9a-f]{%d}\n" % (2 * SIGNATURE_BYTES))
_MOST_SUMS_BYTES: Final = 500_000_000
_MOST_PAGE_BYTES: Final = 1_000_000
_MOST_SIGNATURE_BYTES: Final = 1_000


def is_published_folder(folder: Path) -> bool:
    """Return whether a folder is or was a published one, even if its manifest is lost."""
    return (folder / MANIFEST).exists() or any(
        pattern.fullmatch(path.name) for path in folder.iterdir() for pattern in (_FOLIO, _PAGES)
    )


class _Edition(NamedTuple):
    """The newest edition in a folder, as far as its manifest can be read."""

    folder: Path
    data: bytes
    """The bytes of the manifest."""
    manifest: FolioManifest | None

    def list_names(self) -> set[str]:
        """Return the names of its files and folders, without front page and manifest."""
        if self.manifest is None:
            return set()
        names = {self.manifest.folio.name}
        names |= {self.manifest.pages.name} if self.manifest.pages else set()
        return names | ({name_signature(self.data)} if self.manifest.shop else set())

    def describe(self, name: str, found_text: str, expected: str) -> Fault:
        """Return the fault of a file; its remedy publishes the newest edition again."""
        options = ""
        if self.manifest is not None:
            options += "" if self.manifest.pages else " --no-pages"
            options += " --sign" if self.manifest.shop else ""
            is_newest = name.partition("/")[0] in {*self.list_names(), INDEX, MANIFEST}
            options += "" if is_newest else " --prune"
        command = f"pinfolio publish FOLIO -o {quote_word(self.folder)}{options}"
        remedy = f"{expected}; publish it again: {command}"
        return Fault(str(self.folder / name), 1, 1, found_text, remedy)


def list_published_faults(
    folder: Path, check_signature: SignatureCheck | None = None
) -> Iterator[Fault]:
    """Yield the faults of a published folder.

    ``check_signature`` is called with the manifest and its signature, as by a fetch; without it
    only the form of the signature is checked. Raises OSError.
    """
    edition = _Edition(folder, b"", None)
    try:
        data = read_regular(folder / MANIFEST, MOST_MANIFEST_BYTES)
        edition = _Edition(folder, data, read_manifest(data, MANIFEST))
    except OSError as error:
        yield edition.describe(MANIFEST, _name_reason(error), "the manifest as published")
    except ManifestError as error:
        reason = str(error).removeprefix(f"{MANIFEST}: ")
        yield edition.describe(MANIFEST, reason, "the manifest as published")
    names = {path.name for path in folder.iterdir()}
    for name in sorted(edition.list_names() - names):
        found_text = "no such file, though the manifest needs it"
        yield edition.describe(name, found_text, "the newest edition")
    for name in sorted(names):
        yield from _check_named(edition, name)
    if edition.manifest is not None:
        yield from _check_front_page(edition, edition.manifest)
        if check_signature is not None:
            yield from _check_shop(edition, edition.manifest, check_signature)


def _name_reason(error: OSError) -> str:
    """Return why a file cannot be read."""
    return (
        "no such file" if isinstance(error, FileNotFoundError) else error.strerror or "unreadable"
    )


def _check_named(edition: _Edition, name: str) -> Iterator[Fault]:
    """Verify a file or folder that is named after the digest of its contents; yield its faults."""
    if named := _FOLIO.fullmatch(name):
        yield from _check_folio(edition, name, named[1])
    elif named := _PAGES.fullmatch(name):
        yield from _check_pages(edition, name, named[1])
    elif _SIGNATURE.fullmatch(name):
        try:
            signature = read_regular(edition.folder / name, _MOST_SIGNATURE_BYTES)
        except OSError as error:
            yield edition.describe(name, _name_reason(error), "the signature as published")
            return
        if not _SIGNATURE_TEXT.fullmatch(signature):
            found_text = "other text than 128 hexadecimal digits"
            yield edition.describe(name, found_text, "the signature as published")


def _check_folio(edition: _Edition, name: str, sha256: str) -> Iterator[Fault]:
    """Yield the fault of a folio, and those of its description in the manifest."""
    wanted = edition.manifest.folio if edition.manifest else None
    if wanted is not None and wanted.name != name:
        wanted = None  # of an earlier edition
    path = edition.folder / name
    try:
        open_regular(path).close()
        actual = describe_file(read_pieces(path))
    except (OSError, ValidationError) as error:
        reason = _name_reason(error) if isinstance(error, OSError) else "too short for a folio"
        yield edition.describe(name, reason, "the folio as published")
        return
    if actual.sha256 != sha256:
        reason = "changed after it was published"
        if wanted is not None and actual.size != wanted.size:
            reason = f"{actual.size:,} bytes instead of {wanted.size:,}"
        yield edition.describe(name, reason, "the folio as published")
    elif wanted is not None and actual != wanted and actual.piece_size == wanted.piece_size:
        reason = "a size or digests of pieces that are not those of the folio"
        yield edition.describe(MANIFEST, reason, "the manifest as published")


def _check_pages(edition: _Edition, name: str, sha256: str) -> Iterator[Fault]:
    """Compare a folder of pages with its list; yield the faults."""
    folder, expected = edition.folder / name, "the pages as published"
    if reason := _compare_digest(folder / SUMS, sha256):
        yield edition.describe(f"{name}/{SUMS}", reason, expected)
        return
    digests = dict(_read_sums(folder))
    for page, digest in digests.items():
        if reason := _compare_digest(folder / page, digest):
            yield edition.describe(f"{name}/{page}", reason, expected)
    for path in sorted(folder.rglob("*")):
        page = path.relative_to(folder).as_posix()
        if not path.is_dir() and page not in {SUMS, *digests}:
            only = "only files that SHA256SUMS lists; remove it"
            yield Fault(str(path), 1, 1, "a file that was not published", only)


def _compare_digest(path: Path, sha256: str) -> str:
    """Return the fault of a file whose digest is expected; empty if it is sound."""
    try:
        open_regular(path).close()
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        return _name_reason(error)
    return "" if digest == sha256 else "changed after it was published"


def _read_sums(pages: Path) -> Iterator[tuple[str, str]]:
    """Yield name and digest of each page in the list, of those within the folder."""
    text = read_regular(pages / SUMS, _MOST_SUMS_BYTES).decode("utf-8", "replace")
    for entry in filter(None, map(_SUM.fullmatch, text.split("\n"))):
        if (pages / entry[2]).resolve().is_relative_to(pages.resolve()):
            yield entry[2], entry[1]


def _check_front_page(edition: _Edition, manifest: FolioManifest) -> Iterator[Fault]:
    expected = "the page that leads to the newest edition"
    target = manifest.pages.name if manifest.pages else manifest.folio.name
    try:
        page = read_regular(edition.folder / INDEX, _MOST_PAGE_BYTES)
    except OSError as error:
        yield edition.describe(INDEX, _name_reason(error), expected)
        return
    if target.encode() not in page:
        yield edition.describe(INDEX, "a page that leads elsewhere", expected)
    elif not page.endswith(b"</html>\n"):
        yield edition.describe(INDEX, "a page that is cut short", expected)


def _check_shop(
    edition: _Edition, manifest: FolioManifest, check_signature: SignatureCheck
) -> Iterator[Fault]:
    """Yield the fault of the signature, if it is not that of the expected shop."""
    name = name_signature(edition.data)
    expected = "the signature of the expected shop"
    try:
        signature = read_regular(edition.folder / name, _MOST_SIGNATURE_BYTES)
        check_signature(manifest, edition.data, signature)
    except OSError:
        # With a shop named in the manifest, the missing file is a fault already.
        if not manifest.shop:
            yield edition.describe(MANIFEST, "a manifest that is not signed", expected)
    except FetchError as error:
        yield edition.describe(name, str(error), expected)
