"""Encrypted backups: opened by the passphrase alone, and every change is noticed."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.keys.key_backup import BackupError, Identity, open_backup, seal_identity
from pinfolio.loaders.keys.key_statements import sign_statement
from pinfolio.loaders.keys.signing_key import create_key, derive_public_key

WORDS = "a solder joint in May"
CHEAP = 2**4
"""Cost of scrypt for tests; a real backup takes 2^17."""


@pytest.fixture(scope="module")
def identity() -> Identity:
    first, current = create_key(), create_key()
    key, public = derive_public_key(first), derive_public_key(current)
    rotation = sign_statement(first, "rotation", key.hex(), public.hex(), "bench", "2026-11-25")
    return Identity("bench-a", key, current, (rotation,))


def test_it_is_opened_by_its_passphrase(identity: Identity) -> None:
    assert open_backup(seal_identity(identity, WORDS, CHEAP), WORDS) == identity


def test_a_real_one_has_the_cost_that_is_recommended(identity: Identity) -> None:
    """OWASP Password Storage Cheat Sheet: scrypt with N = 2^17, r = 8, p = 1. From memory."""
    data = seal_identity(identity, WORDS)
    head = json.loads(data)
    assert (head["cost"], head["block"]) == (131_072, 8)
    assert open_backup(data, WORDS) == identity


def test_the_same_words_open_it_however_they_are_encoded(identity: Identity) -> None:
    """NFC and NFD spell one text in different code points (Unicode Standard Annex 15)."""
    data = seal_identity(identity, "Lötstelle im Mai", CHEAP)
    assert open_backup(data, "Lo\u0308tstelle im Mai") == identity


@pytest.mark.parametrize("words", ["", "A solder joint in May", WORDS + " "])
def test_other_words_do_not(identity: Identity, words: str) -> None:
    with pytest.raises(BackupError, match="the passphrase is wrong, or the backup was changed"):
        open_backup(seal_identity(identity, WORDS, CHEAP), words)


def test_neither_the_key_nor_a_statement_is_readable_in_it(identity: Identity) -> None:
    data = seal_identity(identity, WORDS, CHEAP)
    assert identity.private_key.hex().encode() not in data
    assert identity.statements[0].signature.encode() not in data


def test_two_backups_share_neither_salt_nor_nonce(identity: Identity) -> None:
    one, two = (json.loads(seal_identity(identity, WORDS, CHEAP)) for _ in range(2))
    assert all(one[name] != two[name] for name in ("salt", "nonce", "sealed"))


@settings(max_examples=40)
@given(data=st.data())
def test_any_changed_byte_is_noticed(identity: Identity, data: st.DataObject) -> None:
    sealed = bytearray(seal_identity(identity, WORDS, CHEAP))
    place = data.draw(st.integers(0, len(sealed) - 1))
    sealed[place] ^= data.draw(st.integers(1, 255))
    try:
        opened = open_backup(bytes(sealed), WORDS)
    except BackupError:
        return
    assert opened == identity  # only the layout was changed


@pytest.mark.parametrize(
    "change",
    [
        {"cost": 2**30},
        {"cost": 3},
        {"block": 1_000},
        {"derivation": "none"},
        {"cipher": "none"},
        {"format": "pinfolio backup 2"},
        {"salt": "x"},
        {"nonce": ""},
        {"sealed": ""},
        {"more": 1},
    ],
)
def test_a_hostile_head_is_refused(identity: Identity, change: dict[str, Any]) -> None:
    document = json.loads(seal_identity(identity, WORDS, CHEAP)) | change
    with pytest.raises(BackupError):
        open_backup(json.dumps(document).encode(), WORDS)


def test_a_short_passphrase_makes_none(identity: Identity) -> None:
    with pytest.raises(BackupError, match="the passphrase has 11 characters; use 12 or more"):
        seal_identity(identity, "eleven char")


def test_a_key_of_another_shop_is_refused(identity: Identity) -> None:
    wrong = Identity(identity.shop, identity.shop_key, create_key(), identity.statements)
    with pytest.raises(BackupError, match="not that of its shop"):
        open_backup(seal_identity(wrong, WORDS, CHEAP), WORDS)


def test_the_derivation_is_scrypt_of_the_standard_library(identity: Identity) -> None:
    """Opened without this project: hashlib.scrypt, and ChaCha20-Poly1305 (RFC 8439)."""
    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    document = json.loads(seal_identity(identity, WORDS, CHEAP))
    sealed, head = bytes.fromhex(document.pop("sealed")), document
    key = hashlib.scrypt(
        WORDS.encode(), salt=bytes.fromhex(head["salt"]), n=CHEAP, r=8, p=1, dklen=32
    )
    associated = json.dumps(head, sort_keys=True).encode()
    text = ChaCha20Poly1305(key).decrypt(bytes.fromhex(head["nonce"]), sealed, associated)
    assert json.loads(text)["private_key"] == identity.private_key.hex()
