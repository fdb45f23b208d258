"""Pipes, devices and folders are refused at once, and no more is read than a file may have."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest
from pinfolio.loaders.system.regular_files import (
    NotRegularError,
    TooLargeError,
    open_regular,
    read_regular,
)


def test_a_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abc")
    with open_regular(tmp_path / "a") as file:
        assert file.read() == b"abc"
    assert read_regular(tmp_path / "a", 3) == b"abc"


def test_one_byte_too_many_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"abcd")
    with pytest.raises(TooLargeError, match="larger than 3 bytes"):
        read_regular(tmp_path / "a", 3)


@pytest.mark.skipif(os.name == "nt", reason="no such files on Windows")
def test_what_could_wait_for_ever_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(str(tmp_path / "s"))
    for path in (tmp_path / "pipe", Path("/dev/zero"), Path("/dev/null")):
        with pytest.raises(NotRegularError, match="copy its content into a file first"):
            open_regular(path)
    with pytest.raises(OSError, match="s'"):
        open_regular(tmp_path / "s")
    with pytest.raises(IsADirectoryError):
        open_regular(tmp_path)
    listening.close()
