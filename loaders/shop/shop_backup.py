"""Back up a shop's identity to an encrypted file, and restore it into a folder."""

from __future__ import annotations

from pathlib import Path

from ..keys.key_backup import (
    MOST_BYTES,
    BackupError,
    Identity,
    is_backup_file,
    open_backup,
    seal_identity,
)
from ..keys.key_statements import judge_keys
from ..keys.signing_key import derive_public_key
from ..keys.statement_files import KEYS, stage_statements
from ..system.atomic_write import WrongKindError, write_atomically
from ..system.folder_changes import change_together
from ..system.regular_files import read_regular
from .shop_devices import require_shop_key
from .shop_folder import KEY_FILE, Shop, ShopError, create_shop, open_shop, write_key
from .shop_place import is_shop
from .signed_notes import remember_signatures


def write_backup(shop: Shop, path: Path, passphrase: str) -> None:
    """Write the shop's key and statements, encrypted, to ``path``, and try to open the file.

    Raises BackupError for a short passphrase, ShopError when this computer does not have the
    shop's key or the file cannot be written.
    """
    private, keys = require_shop_key(shop)
    identity = Identity(shop.handle, shop.public_key, private, keys.counting)
    try:
        data = seal_identity(identity, passphrase)
        write_atomically(path, data, is_replaceable=is_backup_file)
        path.chmod(0o600)
        if open_backup(read_regular(path, MOST_BYTES), passphrase) != identity:
            raise BackupError(f"{path}: the backup does not hold the key; write it elsewhere")
    except WrongKindError:
        raise ShopError(f"{path}: another file is here; name another one") from None
    except OSError as error:
        raise ShopError(f"{path}: the backup cannot be written: {error.strerror}") from None


def restore_backup(path: Path, folder: Path, passphrase: str) -> Shop:
    """Put the key of a backup into ``folder``, a copy of the shop's or a new one; return the shop.

    Raises BackupError when the file does not open, ShopError when the folder is another shop's,
    has a key in use, or knows that the shop changed its key since.
    """
    try:
        identity = open_backup(read_regular(path, MOST_BYTES), passphrase)
    except BackupError as error:
        raise BackupError(f"{path}: {error}") from None
    except OSError as error:
        raise ShopError(f"{path}: the backup cannot be read: {error.strerror}") from None
    if not is_shop(folder):
        return _create(folder, identity)
    shop = open_shop(folder, to_change=True)
    if shop.public_key != identity.shop_key:
        raise ShopError(f"{folder}: the folder of {shop.handle}, and the backup is of another shop")
    try:
        with change_together(folder) as staging:
            _require_current(shop, identity)
            write_key(staging / KEY_FILE, identity.private_key)
            stage_statements(staging / KEYS, identity.statements)
    except OSError as error:
        raise ShopError(f"{folder}: the key cannot be restored: {error.strerror}") from None
    shop.load_keys()  # which remembers rotations and revocations on this computer
    remember_signatures(shop)
    return shop


def _create(folder: Path, identity: Identity) -> Shop:
    settings: dict[str, str | None] = {}
    shop = create_shop(
        folder,
        identity.shop,
        identity.private_key,
        identity.shop_key,
        settings,
        identity.statements,
    )
    shop.load_private_key()  # refused where this computer knows of a later key
    return shop


def _require_current(shop: Shop, identity: Identity) -> None:
    """Raise ShopError unless the key of a backup is the shop's now, and none in use is here."""
    keys = shop.load_keys()
    public = derive_public_key(identity.private_key).hex()
    merged = judge_keys(keys.chain[0], identity.statements, keys.counting)
    if public != merged.current:
        reason = merged.explain_refusal(public)
        raise ShopError(f"{shop.folder}: the key of this backup may not sign here: {reason}")
    here = shop.find_public_key()
    if here not in (None, public) and not keys.explain_refusal(here or ""):
        path = shop.folder / KEY_FILE
        raise ShopError(f"{path}: a key in use is here; move it away, then restore again")
