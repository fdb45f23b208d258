"""Verify a folio, a shop's folder or a published folder, and describe the damages.

Nothing is written. Chip files, which are written by hand, are checked by ``pinfolio lint``.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ...schema.errors import Unusable
from ..errors import Fault
from ..folio.folio_file import FolioError, check_folio_file
from ..publishing.fetching import SignatureCheck
from ..system.regular_files import open_regular
from .published_damage import is_published_folder, list_published_faults
from .shop_damage import inspect_shop, is_shop_folder


class CannotVerify(Unusable):
    """There is nothing to verify; the message names the path and what can be."""


def verify(path: Path, check_signature: SignatureCheck | None = None) -> dict[str, Any]:
    """Return the document of what was verified at ``path``, and of every damage.

    ``sort`` is ``folio``, ``shop`` or ``published folder``, ``read`` the numbers of bytes, notes or
    files read. A damage has ``file``, ``line`` (from 1), ``found`` and ``expected``, which ends
    with the remedy. ``check_signature`` verifies who signed a published folder.

    Raises CannotVerify.
    """
    try:
        if check_signature is not None and (not path.is_dir() or is_shop_folder(path)):
            raise CannotVerify(f"{path}: not a published folder; leave out --from-shop")
        if not path.is_dir():
            return _verify_folio(path)
        if is_shop_folder(path):
            shop = inspect_shop(path)
            read = {"notes": shop.notes, "attachments": shop.attachments}
            return _describe(path, "shop", read, shop.faults)
        if is_published_folder(path):
            read = {"files": sum(file.is_file() for file in path.rglob("[!.]*"))}
            faults = list(list_published_faults(path, check_signature))
            return _describe(path, "published folder", read, faults)
    except OSError as error:
        where = error.filename or path
        raise CannotVerify(f"{where}: cannot be read: {error.strerror}") from None
    raise CannotVerify(f"{path}: neither a shop's folder nor a published one; name one or a folio")


def _verify_folio(path: Path) -> dict[str, Any]:
    """Return the document of a file, every byte of which is read."""
    if not path.exists():
        raise CannotVerify(f"{path}: no such file; name a folio, a shop's or a published folder")
    open_regular(path).close()  # a pipe would never end
    faults = []
    try:
        check_folio_file(path, afresh=True, to_remember=False)
    except FolioError as error:
        found_text, _, remedy = str(error).removeprefix(f"{path}: ").partition("; ")
        faults = [Fault(str(path), 1, 1, found_text, f"an intact folio; {remedy}")]
    return _describe(path, "folio", {"bytes": path.stat().st_size}, faults)


def _describe(path: Path, sort: str, read: dict[str, int], faults: list[Fault]) -> dict[str, Any]:
    damages = [
        {
            "file": fault.file,
            "line": fault.line,
            "found": fault.found,
            "expected": fault.expected,
        }
        for fault in faults
    ]
    return {"path": str(path), "sort": sort, "sound": not faults, "read": read, "damages": damages}
