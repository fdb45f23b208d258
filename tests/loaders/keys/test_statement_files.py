"""Files of statements, and the memory of rotations and revocations on this computer."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.keys.key_statements import sign_statement
from pinfolio.loaders.keys.signing_key import create_key, derive_public_key
from pinfolio.loaders.keys.statement_files import (
    load_keys,
    name_statement,
    read_statements,
    stage_statements,
)

DAY = "2026-11-25"


@pytest.fixture
def private() -> bytes:
    return create_key()


@pytest.fixture
def shop_key(private: bytes) -> str:
    return derive_public_key(private).hex()


@pytest.fixture
def laptop() -> str:
    return derive_public_key(create_key()).hex()


def test_what_is_written_is_read(
    tmp_path: Path, private: bytes, shop_key: str, laptop: str
) -> None:
    certificate = sign_statement(private, "device", shop_key, laptop, "laptop", DAY)
    stage_statements(tmp_path / "keys", [certificate, certificate])
    (path,) = (tmp_path / "keys").iterdir()
    assert path.name == name_statement(certificate)
    # Version control may change line ends, an editor the layout; the signature is over neither.
    path.write_bytes(path.read_bytes().replace(b",", b",\r\n "))
    keys = load_keys(tmp_path / "keys", shop_key, to_remember=False)
    assert keys.devices == (certificate,)


@pytest.mark.parametrize("data", [b"", b"{}", b"\xff", b"[" * 10_000, b"x" * 10_000])
def test_a_file_that_is_no_statement_is_named_and_left_out(
    tmp_path: Path, data: bytes, shop_key: str
) -> None:
    (tmp_path / "device-0123456789abcdef.json").write_bytes(data)
    faults: list[Fault] = []
    keys = load_keys(tmp_path, shop_key, to_remember=False, faults=faults)
    assert keys.signers == (shop_key,)
    assert [Path(fault.file).name for fault in faults] == ["device-0123456789abcdef.json"]


def test_an_older_folder_takes_no_revocation_and_no_rotation_back(
    tmp_path: Path, private: bytes, shop_key: str, laptop: str
) -> None:
    folder, older, successor = tmp_path / "keys", tmp_path / "older", create_key()
    public = derive_public_key(successor).hex()
    stage_statements(folder, [sign_statement(private, "device", shop_key, laptop, "laptop", DAY)])
    shutil.copytree(folder, older)
    stage_statements(
        folder,
        [
            sign_statement(private, "revocation", shop_key, laptop, "laptop", DAY),
            sign_statement(private, "rotation", shop_key, public, "bench", DAY),
        ],
    )
    assert load_keys(older, shop_key, to_remember=False).signers == (shop_key, laptop)
    now = load_keys(folder, shop_key, to_remember=True)
    again = load_keys(older, shop_key, to_remember=False)
    assert now.signers == again.signers == (public,)
    assert load_keys(tmp_path / "gone", shop_key, to_remember=False).signers == (public,)


def test_a_rival_rotation_in_the_folder_is_named(
    tmp_path: Path, private: bytes, shop_key: str
) -> None:
    keys = [derive_public_key(create_key()).hex() for _ in range(2)]
    first, rival = (
        sign_statement(private, "rotation", shop_key, key, "bench", DAY) for key in keys
    )
    stage_statements(tmp_path, [first])
    load_keys(tmp_path, shop_key, to_remember=True)
    stage_statements(tmp_path, [rival])
    faults: list[Fault] = []
    loaded = load_keys(tmp_path, shop_key, to_remember=True, faults=faults)
    assert loaded.current == first.key
    assert [Path(fault.file).name for fault in faults] == [name_statement(rival)]


def test_no_folder_holds_no_statements(tmp_path: Path) -> None:
    assert read_statements(tmp_path / "keys", []) == []
