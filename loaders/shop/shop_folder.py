"""A shop's folder: plain files, under version control or on a stick, from which all else is built.

shop.toml       handle, public key, ordinary instruments
.pinfolio-key   private half of the key, never shared
chips/          the shop's own chip files
notes/          its notes, one file for each revision, and notes/attachments/
received/       what each other shop sent: received/HANDLE/notes.jsonl and attachments/
shops.toml      the shops it knows, written by merging
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from platformdirs import user_data_path
from pydantic import TypeAdapter, ValidationError

from ...schema.errors import PinfolioError
from ...schema.note import HANDLE_LOOKS, Handle
from ..system.folder_changes import finish_changes
from .signing_key import KEY_BYTES, new_key, public_half

ENVIRONMENT: Final = "PINFOLIO_SHOP"
FILE: Final = "shop.toml"
_KEY_FILE: Final = ".pinfolio-key"
_MOST_BYTES: Final = 100_000
_HANDLE: Final[TypeAdapter[str]] = TypeAdapter(Handle)
_KEYS: Final = ("handle", "public_key", "author", "meter", "probe", "scope")
_IGNORED: Final = f"{_KEY_FILE}\n.merging-*/\n.merged/\n"


class ShopError(PinfolioError):
    """A shop's folder cannot be used; the message says why and what mends it."""


@dataclass(frozen=True)
class Shop:
    """A shop and where its files are."""

    folder: Path
    handle: str
    public_key: bytes
    """Public half of its key, 32 bytes."""
    author: str | None = None
    """Who writes its notes, where none is named: a handle; None is the shop's own."""
    meter: str | None = None
    probe: str | None = None
    scope: str | None = None
    """The ordinary meter, probe and oscilloscope, by name."""

    @property
    def chips(self) -> Path:
        """Folder of its own chip files."""
        return self.folder / "chips"

    @property
    def notes(self) -> Path:
        """Folder of its own notes."""
        return self.folder / "notes"

    @property
    def received(self) -> Path:
        """Folder with a folder for each shop that notes came from."""
        return self.folder / "received"

    @property
    def known_shops(self) -> Path:
        """File of the shops it knows."""
        return self.folder / "shops.toml"

    def private_key(self) -> bytes:
        """The private half of its key, 32 bytes; raises ShopError where it is not at hand."""
        path = self.folder / _KEY_FILE
        try:
            key = bytes.fromhex(path.read_text(encoding="ascii"))
        except FileNotFoundError:
            where = "copy it from the folder the shop was made in; it is never shared"
            raise ShopError(f"{path}: the shop's private key is not here; {where}") from None
        except (OSError, ValueError) as refused:
            raise ShopError(f"{path}: the shop's private key cannot be read: {refused}") from None
        if len(key) != KEY_BYTES or public_half(key) != self.public_key:
            belongs = f"to the public_key in {self.folder / FILE}"
            raise ShopError(
                f"{path}: this private key does not belong {belongs}; copy the right one"
            )
        return key


def is_shop(folder: Path) -> bool:
    """Whether a shop's folder is there."""
    return (folder / FILE).is_file()


def find_shop(option: Path | None = None) -> Path:
    """The shop's folder meant: named, else by the environment, else around here, else the user's.

    Whether a shop is there is for ``open_shop`` to say.
    """
    here = Path.cwd()
    around = next((folder for folder in (here, *here.parents) if is_shop(folder)), None)
    return option or _named() or around or _users_own()


def new_shop(option: Path | None = None) -> Path:
    """Where a new shop goes: named, else by the environment, else among the user's own data."""
    return option or _named() or _users_own()


def _named() -> Path | None:
    named = os.environ.get(ENVIRONMENT)
    return Path(named) if named else None


def _users_own() -> Path:
    return user_data_path("pinfolio", appauthor=False) / "shop"


def init_shop(
    folder: Path,
    handle: str,
    author: str | None = None,
    meter: str | None = None,
    probe: str | None = None,
    scope: str | None = None,
) -> Shop:
    """Make a shop's folder with a new key; raises ShopError when one is there already."""
    for name in (handle, author or handle):
        _check_handle(name, "as a handle")
    if is_shop(folder):
        raise ShopError(f"{folder}: a shop is here already; name another folder")
    key = new_key()
    given = {"author": author, "meter": meter, "probe": probe, "scope": scope}
    values = {"handle": handle, "public_key": public_half(key).hex()}
    values |= {name: value for name, value in given.items() if value}
    try:
        for inner in ("chips", "notes", "received"):
            (folder / inner).mkdir(parents=True, exist_ok=True)
        _write_key(folder / _KEY_FILE, key)
        (folder / ".gitignore").write_text(_IGNORED, encoding="utf-8", newline="\n")
        (folder / FILE).write_text(_toml(values), encoding="utf-8", newline="\n")
    except OSError as refused:
        where = refused.filename or folder
        raise ShopError(f"{where}: the shop cannot be kept here: {refused.strerror}") from None
    return open_shop(folder)


def open_shop(folder: Path) -> Shop:
    """The shop in a folder; raises ShopError when none is there or its file is faulty.

    A merge that was interrupted after it was decided is finished first.
    """
    path = folder / FILE
    try:
        with path.open("rb") as file:
            text = file.read(_MOST_BYTES).decode("utf-8-sig")
        finish_changes(folder)
    except FileNotFoundError:
        raise ShopError(f"{folder}: no shop here; make one with: pinfolio shop init") from None
    except UnicodeDecodeError:
        raise ShopError(f"{path}: found bytes that are not UTF-8, expected UTF-8 text") from None
    except OSError as refused:
        raise ShopError(f"{refused.filename or path}: {refused.strerror}") from None
    return _shop(folder, _read(text, path), path)


def _read(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as refused:
        raise ShopError(f"{path}: found what is not TOML ({refused})") from None


def _shop(folder: Path, values: dict[str, Any], path: Path) -> Shop:
    for key, value in values.items():
        if key not in _KEYS:
            raise ShopError(f"{path}: found the key {key!r}, expected one of {', '.join(_KEYS)}")
        if not isinstance(value, str) or not value.strip():
            raise ShopError(f'{path}: found {key} = {value!r}, expected text, {key} = "..."')
    for key in ("handle", "public_key"):
        if key not in values:
            raise ShopError(f'{path}: found no {key}, expected {key} = "..." as init wrote it')
    if not re.fullmatch(r"[0-9a-f]{64}", values["public_key"]):
        raise ShopError(f"{path}: found no public key of 64 hexadecimal digits")
    for key in ("handle", "author"):
        _check_handle(values.get(key, "x"), f"{path}: as {key}")
    return Shop(folder=folder, **values | {"public_key": bytes.fromhex(values["public_key"])})


def _check_handle(name: str, place: str) -> None:
    try:
        _HANDLE.validate_python(name)
    except ValidationError:
        raise ShopError(f"{place}: found {name!r}, expected {HANDLE_LOOKS}") from None


def _toml(values: dict[str, str]) -> str:
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    more = '# Ordinary instruments, by name: meter = "...", probe = "...", scope = "..."'
    return "\n".join([*lines, more, ""])


def _write_key(path: Path, key: bytes) -> None:
    """Write the key where nobody but the owner reads it, from its first byte on."""
    opened = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(opened, "w", encoding="ascii", newline="\n") as file:
        file.write(key.hex() + "\n")
