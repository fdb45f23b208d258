"""Tell a binary file by its first bytes, so that it is read or refused by its kind."""

from __future__ import annotations

import io
import zipfile
from typing import Final

_SIGNATURES: Final = (
    (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"BM", "a picture (BMP)"),
    (b"II*\x00", "a picture (TIFF)"),
    (b"MM\x00*", "a picture (TIFF)"),
    (b"%PDF-", "a PDF"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet or document"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x1f\x8b", "a compressed (gzip) file"),
    (b"BZh", "a compressed (bzip2) file"),
    (b"\xfd7zXZ\x00", "a compressed (xz) file"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed (7z) file"),
)
NPY: Final = "a NumPy array"
NPZ: Final = "NumPy arrays"
HDF5: Final = "an HDF5 file"
MATLAB: Final = "a MATLAB 5 file"
SOUND: Final = "a WAV file"
SESSION: Final = "a session of logic and analogue channels"

_HDF5_SIGNATURE: Final = b"\x89HDF\r\n\x1a\n"
_HDF5_STARTS: Final = (0, 512, 1024, 2048)  # behind a user block; HDF5 file format, II.A
_WIDE_MARKS: Final = (b"\xff\xfe", b"\xfe\xff")
_FIRST_PRINTED: Final = 0x20
_EXAMINED: Final = 1000


def find_kind(data: bytes) -> str | None:
    """Return the kind of a binary file in words; None for a file that may be text."""
    if any(data[start : start + 8] == _HDF5_SIGNATURE for start in _HDF5_STARTS):
        return HDF5
    if data.startswith(b"\x93NUMPY"):
        return NPY
    if data.startswith(b"MATLAB 5.0"):
        return MATLAB
    if data.startswith(b"RIFF") and data[8:12] == b"WAVE":
        return SOUND
    if data.startswith(b"PK\x03\x04"):
        return _find_archive_kind(data)
    for signature, kind in _SIGNATURES:
        # A line of text may begin with the letters BM, but holds no zero bytes.
        if data.startswith(signature) and (len(signature) > 2 or b"\x00" in data[:_EXAMINED]):
            return kind
    return "a binary file" if _is_binary(data[:_EXAMINED]) else None


def _find_archive_kind(data: bytes) -> str:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return "a broken ZIP archive"
    if names and all(name.endswith(".npy") for name in names):
        return NPZ
    if "metadata" in names and "version" in names:
        return SESSION
    if any(name.startswith("xl/") for name in names) or "content.xml" in names:
        return "a spreadsheet"
    return "a ZIP archive"


def _is_binary(head: bytes) -> bool:
    """Return whether bytes hold zeros and other signs that no UTF-16 text has."""
    if b"\x00" not in head or head.startswith(_WIDE_MARKS):
        return False
    return any(byte < _FIRST_PRINTED and byte not in b"\x00\t\n\r\f" for byte in head)
