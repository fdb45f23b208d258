"""The file that a folio is downloaded into: it grows piece by piece, each verified."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Final, Self

from ...schema.errors import PinfolioError
from ..system.locks import BusyError, lock_file
from .manifest import PublishedFile

_READ_BYTES: Final = 2**18


class WrongPieceError(PinfolioError):
    """A piece does not match its digest in the manifest; it was discarded."""


class FetchInProgressError(PinfolioError):
    """Another process is fetching the same folio to the same place."""


class PartialDownload:
    """A file that holds the first ``size`` bytes of a published folio."""

    def __init__(self, path: Path, file: BinaryIO, wanted: PublishedFile) -> None:
        self.path, self.wanted = path, wanted
        self.size = 0
        """Number of bytes received; all are verified except those of the last piece."""
        self._file = file
        self._all_digest, self._piece_digest = hashlib.sha256(), hashlib.sha256()
        self._verified_digest = self._all_digest.copy()

    @classmethod
    @contextmanager
    def open_beside(cls, out: Path, wanted: PublishedFile) -> Iterator[Self]:
        """Yield the partial download of ``wanted`` beside ``out``, locked and verified so far.

        Raises FetchInProgressError, OSError.
        """
        path = out.with_name(f".{out.name}.{wanted.sha256}.part")
        with _open_locked(path) as file:
            partial = cls(path, file, wanted)
            partial._verify_earlier()
            yield partial

    @property
    def is_complete(self) -> bool:
        """Whether all bytes have been received."""
        return self.size == self.wanted.size

    @property
    def is_right(self) -> bool:
        """Whether the whole file has the expected digest."""
        return self._all_digest.hexdigest() == self.wanted.sha256

    def receive(self, chunks: Iterable[bytes]) -> Iterator[int]:
        """Append chunks until the file is complete; yield the size after each write.

        Raises WrongPieceError, OSError, and any error in reading the chunks.
        """
        for chunk in chunks:
            while chunk and not self.is_complete:
                data, chunk = chunk[: self._missing], chunk[self._missing :]
                self._file.write(data)
                self._count(data)
                yield self.size
            if self.is_complete:
                return

    def finish(self) -> None:
        """Hand buffered bytes to the operating system. Raises OSError."""
        self._file.flush()

    @property
    def _missing(self) -> int:
        """Number of bytes missing from the current piece."""
        piece_bytes = self.wanted.piece_size
        return min(piece_bytes - self.size % piece_bytes, self.wanted.size - self.size)

    def _verify_earlier(self) -> None:
        """Verify the pieces of an earlier fetch; cut the file off at the first wrong one."""
        self._file.seek(0)
        with suppress(WrongPieceError):
            while not self.is_complete and (
                data := self._file.read(min(_READ_BYTES, self._missing))
            ):
                self._count(data)
        self._truncate()

    def _count(self, data: bytes) -> None:
        self._all_digest.update(data)
        self._piece_digest.update(data)
        self.size += len(data)
        if self.is_complete or self.size % self.wanted.piece_size == 0:
            self._verify_piece()

    def _verify_piece(self) -> None:
        index = (self.size - 1) // self.wanted.piece_size
        digest, self._piece_digest = self._piece_digest.hexdigest(), hashlib.sha256()
        if digest != self.wanted.pieces[index]:
            self._all_digest = self._verified_digest.copy()
            self.size = index * self.wanted.piece_size
            self._truncate()
            raise WrongPieceError(
                f"piece {index + 1} of {len(self.wanted.pieces)} does not match its digest"
            )
        self._verified_digest = self._all_digest.copy()

    def _truncate(self) -> None:
        self._file.flush()
        self._file.truncate(self.size)
        self._file.seek(0, os.SEEK_END)


@contextmanager
def _open_locked(path: Path) -> Iterator[BinaryIO]:
    """Open a file for this process alone, creating it if needed."""
    while True:
        with path.open("a+b") as file:
            try:
                lock_file(file)
            except BusyError:
                raise FetchInProgressError(
                    f"{path}: another process is fetching this folio; wait until it has finished"
                ) from None
            if _is_same_file(path, file):  # else it was renamed before it was locked
                yield file
                return


def _is_same_file(path: Path, file: BinaryIO) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(file.fileno()))
    except FileNotFoundError:
        return False


def remove_other_downloads(out: Path) -> None:
    """Remove partial downloads of other folios to ``out``, but not those in progress."""
    pattern = re.compile(rf"\.{re.escape(out.name)}\.[0-9a-f]{{64}}\.part")
    for path in out.parent.iterdir():
        if pattern.fullmatch(path.name):
            with suppress(OSError, FetchInProgressError), _open_locked(path):
                path.unlink()
