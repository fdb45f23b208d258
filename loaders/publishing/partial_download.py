"""The part of a folio that has come so far: a file that grows, each piece of it verified."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Final, Self

from ..system.locks import Busy, lock
from .manifest import PublishedFile

_READ: Final = 2**18


class WrongPiece(Exception):  # noqa: N818  it is what came
    """A piece is not what the manifest says it is; it was thrown away."""


class BeingFetched(Exception):  # noqa: N818  it is why one has to wait
    """Somebody else brings the same folio to the same place."""


class Partial:
    """A file that holds the first ``size`` bytes of what is wanted."""

    def __init__(self, path: Path, file: BinaryIO, wanted: PublishedFile) -> None:
        self.path, self.wanted = path, wanted
        self.size = 0
        """How many bytes are here; all but those of the last piece are verified."""
        self._file = file
        self._all, self._piece = hashlib.sha256(), hashlib.sha256()
        self._all_before = self._all.copy()

    @classmethod
    @contextmanager
    def beside(cls, out: Path, wanted: PublishedFile) -> Iterator[Self]:
        """What has come of it to the place of ``out``; nobody else may add to it meanwhile.

        Raises BeingFetched, OSError.
        """
        path = out.with_name(f".{out.name}.{wanted.sha256}.part")
        with _locked(path) as file:
            partial = cls(path, file, wanted)
            partial._look_through()
            yield partial

    @property
    def is_complete(self) -> bool:
        """Whether as many bytes are here as are wanted."""
        return self.size == self.wanted.size

    @property
    def is_right(self) -> bool:
        """Whether all of it together has the digest that is wanted."""
        return self._all.hexdigest() == self.wanted.sha256

    def receive(self, body: BinaryIO) -> Iterator[int]:
        """Add what comes until it is complete or no more comes; after each step, how much is here.

        Raises WrongPiece, OSError, and what reading raises.
        """
        while not self.is_complete and (data := body.read(min(_READ, self._missing))):
            self._file.write(data)
            self._count(data)
            yield self.size

    def finish(self) -> None:
        """Hand every byte to the system. Raises OSError."""
        self._file.flush()

    @property
    def _missing(self) -> int:
        """How many bytes are missing to the end of the piece."""
        piece = self.wanted.piece_size
        return min(piece - self.size % piece, self.wanted.size - self.size)

    def _look_through(self) -> None:
        """Count what an earlier fetch left, up to the first piece that is not right."""
        self._file.seek(0)
        with suppress(WrongPiece):
            while not self.is_complete and (data := self._file.read(min(_READ, self._missing))):
                self._count(data)
        self._cut_off()

    def _count(self, data: bytes) -> None:
        self._all.update(data)
        self._piece.update(data)
        self.size += len(data)
        if self.is_complete or self.size % self.wanted.piece_size == 0:
            self._end_piece()

    def _end_piece(self) -> None:
        at = (self.size - 1) // self.wanted.piece_size
        found, self._piece = self._piece.hexdigest(), hashlib.sha256()
        if found != self.wanted.pieces[at]:
            self._all = self._all_before.copy()
            self.size = at * self.wanted.piece_size
            self._cut_off()
            raise WrongPiece(
                f"piece {at + 1} of {len(self.wanted.pieces)} is not what it should be"
            )
        self._all_before = self._all.copy()

    def _cut_off(self) -> None:
        self._file.flush()
        self._file.truncate(self.size)
        self._file.seek(0, os.SEEK_END)


@contextmanager
def _locked(path: Path) -> Iterator[BinaryIO]:
    """The file, opened for one process alone, and made if it is not there."""
    while True:
        with path.open("a+b") as file:
            try:
                lock(file)
            except Busy:
                raise BeingFetched(f"{path}: is being fetched by somebody else") from None
            if not _is_still(path, file):  # it took its place before it was locked
                continue
            yield file
            return


def _is_still(path: Path, file: BinaryIO) -> bool:
    try:
        return os.path.samestat(path.stat(), os.fstat(file.fileno()))
    except FileNotFoundError:
        return False


def remove_other_partials(out: Path) -> None:
    """Take away what fetches of other folios to this place left; not what still comes."""
    ours = re.compile(rf"\.{re.escape(out.name)}\.[0-9a-f]{{64}}\.part")
    for left in out.parent.iterdir():
        if ours.fullmatch(left.name):
            with suppress(OSError, BeingFetched), _locked(left):
                left.unlink()
