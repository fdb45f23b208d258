"""Create and open a shop's folder.

shop.toml       handle, public key, usual instruments
.pinfolio-key   private key of the shop or of this device, never shared
keys/           signed statements about the shop's keys
chips/          the shop's own chip files
notes/          its notes, one file for each revision; notes/signed/ and notes/attachments/
received/       notes from other shops: received/HANDLE/notes.jsonl, notes.signed, attachments/
shops.toml      the known shops, written by merging
"""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final, NamedTuple

from pydantic import TypeAdapter, ValidationError

from ...schema.errors import PinfolioError
from ...schema.note import HANDLE_LOOKS, Handle
from ..errors import Fault
from ..keys.key_statements import ShopKeys, Statement
from ..keys.signing_key import KEY_BYTES, create_key, derive_public_key
from ..keys.statement_files import KEYS, load_keys, stage_statements
from ..system.atomic_write import write_atomically
from ..system.folder_changes import change_together, finish_changes
from ..system.links import find_link
from ..system.regular_files import read_regular
from .shop_place import FILE, is_shop
from .toml_text import parse_toml

KEY_FILE: Final = ".pinfolio-key"
_MOST_BYTES: Final = 100_000
_HANDLE: Final[TypeAdapter[str]] = TypeAdapter(Handle, config={"defer_build": True})
_KEYS: Final = ("handle", "public_key", "author", "meter", "probe", "scope", "counter", "tester")
_IGNORED: Final = f"{KEY_FILE}\n.merging-*/\n.merged/\nset-aside/\n"
# Lines of two sides of such a file, mixed by version control, would fit no signature.
_UNMERGED: Final = "shops.toml -merge\nreceived/*/notes.* -merge\n"


_NO_KEY: Final = (
    "make this computer a device of the shop: pinfolio shop device new NAME,"
    " or restore the shop's key: pinfolio shop key restore FILE"
)


class ShopError(PinfolioError):
    """A shop's folder cannot be used; the message gives the reason and the remedy."""


class Shop(NamedTuple):
    """A shop and the paths of its files."""

    folder: Path
    handle: str
    public_key: bytes
    """Its first public key, 32 bytes, which names the shop; its statements lead to later ones."""
    author: str | None = None
    """Handle of the usual author of its notes; None is the shop itself."""
    meter: str | None = None
    probe: str | None = None
    scope: str | None = None
    counter: str | None = None
    tester: str | None = None
    """The usual meter, probe, oscilloscope, counter and component tester, by name."""

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
        """Folder with a subfolder for each shop that sent notes."""
        return self.folder / "received"

    @property
    def known_shops(self) -> Path:
        """File of the known shops."""
        return self.folder / "shops.toml"

    def has_private_key(self) -> bool:
        """Return whether the private key is in the folder; a clone of it has none."""
        return (self.folder / KEY_FILE).exists()

    def load_keys(self, faults: list[Fault] | None = None) -> ShopKeys:
        """Return its keys, as the statements in the folder have them; see ``load_keys``."""
        return load_keys(
            self.folder / KEYS, self.public_key.hex(), to_remember=self.has_private_key(),
            faults=faults,
        )  # fmt: skip

    def list_signers(self) -> tuple[bytes, ...]:
        """Return the public keys whose signatures count in this folder.

        They are those of the shop and its devices, and on this computer the key of the folder
        itself while it waits to be certified.
        """
        keys = self.load_keys()
        own = self.find_public_key()
        waiting = [statement.key for statement in keys.waiting if statement.key == own]
        return tuple(map(bytes.fromhex, (*keys.signers, *waiting)))

    def find_public_key(self) -> str | None:
        """Return the public key of the private one in the folder; None without a readable one."""
        try:
            return derive_public_key(self._read_private_key()).hex()
        except (OSError, ValueError):
            return None

    def load_private_key(self, *, to_share: bool = False) -> bytes:
        """Return the private key of the shop or of this device, 32 bytes.

        ``to_share`` refuses that of a device which the shop does not certify yet.

        Raises ShopError if it is missing or may not sign.
        """
        path = self.folder / KEY_FILE
        try:
            key = self._read_private_key()
            public = derive_public_key(key).hex()
        except FileNotFoundError:
            raise ShopError(f"{path}: the private key is not here; {_NO_KEY}") from None
        except (OSError, ValueError) as error:
            raise ShopError(f"{path}: the private key cannot be read: {error}") from None
        keys = self.load_keys()
        reason = keys.explain_refusal(public)
        # A device that waits for its certificate writes notes already; they count here only.
        is_waiting = any(statement.key == public for statement in keys.waiting)
        if not reason or (is_waiting and not to_share):
            return key
        raise ShopError(f"{path}: this key may not sign here: {reason}; {_NO_KEY}")

    def _read_private_key(self) -> bytes:
        """Return the private key in the folder; raises OSError, ValueError."""
        key = bytes.fromhex(read_regular(self.folder / KEY_FILE, _MOST_BYTES).decode("ascii"))
        if len(key) != KEY_BYTES:
            raise ValueError(f"it has {len(key)} bytes; a key has {KEY_BYTES}")
        return key


def init_shop(
    folder: Path,
    handle: str,
    author: str | None = None,
    meter: str | None = None,
    probe: str | None = None,
    scope: str | None = None,
    counter: str | None = None,
    tester: str | None = None,
) -> Shop:
    """Create a shop's folder with a new key and return the shop.

    Raises ShopError when ``folder`` is a shop already, a handle is invalid or writing fails.
    """
    key = create_key()
    settings = {"author": author, "meter": meter, "probe": probe, "scope": scope}
    settings |= {"counter": counter, "tester": tester}
    return create_shop(folder, handle, key, derive_public_key(key), settings)


def create_shop(
    folder: Path,
    handle: str,
    private_key: bytes,
    public_key: bytes,
    settings: Mapping[str, str | None],
    statements: Iterable[Statement] = (),
) -> Shop:
    """Create the folder of a shop whose keys exist and return the shop.

    ``public_key`` is its first one; ``settings`` are further values of its file.

    Raises ShopError when ``folder`` is a shop already, a handle is invalid or writing fails.
    """
    for name in (handle, settings.get("author") or handle):
        check_handle(name, "")
    if is_shop(folder):
        raise ShopError(f"{folder}: this folder is a shop already; name another folder")
    _require_no_link(folder)
    values = {"handle": handle, "public_key": public_key.hex()}
    values |= {name: value for name, value in settings.items() if value}
    try:
        for inner in ("chips", "notes", "received"):
            (folder / inner).mkdir(parents=True, exist_ok=True)
        with change_together(folder) as staging:
            if is_shop(folder):  # finished just now, after an interruption
                raise ShopError(f"{folder}: this folder is a shop already; name another folder")
            if os.path.lexists(folder / KEY_FILE):
                raise FileExistsError(errno.EEXIST, "a key is here already", str(folder / KEY_FILE))
            write_key(staging / KEY_FILE, private_key)
            stage_statements(staging / KEYS, statements)
            (staging / ".gitignore").write_text(_IGNORED, newline="\n")
            (staging / ".gitattributes").write_text(_UNMERGED, newline="\n")
            (staging / FILE).write_text(_format_toml(values), encoding="utf-8", newline="\n")
    except OSError as error:
        where = error.filename or folder
        raise ShopError(f"{where}: the shop cannot be created here: {error.strerror}") from None
    return open_shop(folder)


def open_shop(folder: Path, *, to_change: bool = False) -> Shop:
    """Return the shop in a folder.

    Opening it to read changes nothing. With ``to_change``, an interrupted change that was made on
    this computer is finished first.

    Raises ShopError when there is no shop, its file is faulty or the folder contains a link.
    """
    path = folder / FILE
    try:
        _require_no_link(folder)
        text = read_regular(path, _MOST_BYTES).decode("utf-8-sig")
        if to_change:
            finish_changes(folder)
    except (FileNotFoundError, NotADirectoryError):
        raise ShopError(f"{folder}: no shop here; make one with: pinfolio shop init") from None
    except UnicodeDecodeError:
        raise ShopError(f"{path}: not UTF-8; save the file as UTF-8 text") from None
    except OSError as error:
        raise ShopError(f"{error.filename or path}: {error.strerror}") from None
    return _build_shop(folder, _parse_toml(text, path), path)


def _require_no_link(folder: Path) -> None:
    """Raise ShopError for a link in a folder, which need not exist; raises OSError."""
    if folder.is_dir() and (link := find_link(folder)):
        remedy = "links are not followed in a shop's folder; put the file itself there"
        raise ShopError(f"{link}: {remedy}")


def _parse_toml(text: str, path: Path) -> dict[str, Any]:
    try:
        return parse_toml(text)
    except ValueError as error:
        raise ShopError(f'{path}: not TOML ({error}); write lines such as handle = "…"') from None


def _build_shop(folder: Path, values: dict[str, Any], path: Path) -> Shop:
    """Return the shop of a settings file. Raises ShopError for a wrong key or value."""
    for key, value in values.items():
        if key not in _KEYS:
            raise ShopError(f"{path}: {key!r} is not a key here; use {', '.join(_KEYS)}")
        if not isinstance(value, str) or not value.strip():
            raise ShopError(f'{path}: {key} = {value!r} is not text; write {key} = "..."')
    for key in ("handle", "public_key"):
        if key not in values:
            raise ShopError(f'{path}: {key} is missing; restore {key} = "..." as init wrote it')
    if not re.fullmatch(r"[0-9a-f]{64}", values["public_key"]):  # 32 bytes of Ed25519
        raise ShopError(f"{path}: the public key does not have 64 hexadecimal digits; restore it")
    for key in ("handle", "author"):
        check_handle(values.get(key, "x"), f"{path}: {key} ")
    return Shop(folder=folder, **values | {"public_key": bytes.fromhex(values["public_key"])})


def check_handle(name: str, place: str) -> None:
    """Raise ShopError, which begins with ``place``, for a name that is no handle."""
    try:
        _HANDLE.validate_python(name)
    except ValidationError:
        raise ShopError(f"{place}{name!r} is not a handle; use {HANDLE_LOOKS}") from None


def _format_toml(values: dict[str, str]) -> str:
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    more = '# Usual instruments, by name: meter = "...", probe, scope, counter and tester likewise'
    return "\n".join([*lines, more, ""])


def write_key(path: Path, key: bytes) -> None:
    """Write the key to a file that only its owner may ever read, whole or not at all.

    An existing key is never replaced: FileExistsError. Raises OSError.
    """
    write_atomically(path, f"{key.hex()}\n", overwrite=False, mode=0o600)
