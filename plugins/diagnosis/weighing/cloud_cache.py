"""Clouds of boards kept in the user's cache: making one takes seconds, reading one milliseconds.

A file is named by a digest of the chip, the condition, the version of the model and the shape of
the file, so that a cloud of other code is never read. Figures are kept at half precision where a
meter could not tell the difference; a cloud that cannot be written, or is damaged, is made again.
"""

from __future__ import annotations

import hashlib
import io
import os
import secrets
import zipfile
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ....loaders.system.user_folders import cache_folder
from ..board.cloud import Cloud, Hypothesis

Numbers = NDArray[np.float64]

_FORMAT: Final = "1"
_KEPT: Final = 60  # so many clouds; the one not asked for the longest goes
_LEAST_OHM: Final = 1e-3  # no less is told apart
_HALF: Final = ("ripple_vpp", "shown")
_ARRAYS: Final = (
    "dc_v", "vpp_v", "frequency_hz", "ripple_vpp", "words", "shown",
    "healthy_dc_v", "healthy_vpp_v", "healthy_frequency_hz",
)  # fmt: skip
_DAMAGED: Final = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile)


def read_cloud(document: str, condition: str) -> Cloud | None:
    """Return the cloud that is kept for a chip (its JSON) in a condition; None without one."""
    path = _make_path(document, condition)
    try:
        with np.load(path, allow_pickle=False) as kept:
            cloud = _restore_cloud(dict(kept))
        os.utime(path)
    except _DAMAGED:
        return None
    return cloud


def keep_cloud(document: str, condition: str, cloud: Cloud) -> Cloud:
    """Keep a cloud and return it as kept, so that the first answer is that of all later ones.

    A disk that is full or read-only is no reason to stop.
    """
    arrays = _collect_arrays(cloud)
    _write(_make_path(document, condition), arrays)
    return _restore_cloud(arrays)


def read_ohms(document: str, condition: str) -> Numbers | None:
    """Return the resistances kept for a chip's parts in circuit; None without them."""
    path = _make_path(document, condition, "ohms")
    try:
        with np.load(path, allow_pickle=False) as kept:
            ohms = _restore_ohms(kept["log_ohms"])
        os.utime(path)
    except _DAMAGED:
        return None
    return ohms


def keep_ohms(document: str, condition: str, ohms: Numbers) -> Numbers:
    """Keep resistances, to half a per cent, and return them as kept.

    A disk that is full is no reason to stop.
    """
    log_ohms = np.log(np.maximum(ohms, _LEAST_OHM)).astype(np.float16)
    _write(_make_path(document, condition, "ohms"), {"log_ohms": log_ohms})
    return _restore_ohms(log_ohms)


def _restore_ohms(log_ohms: NDArray[np.float16]) -> Numbers:
    return np.asarray(np.exp(log_ohms.astype(float)))


def _write(path: Path, arrays: dict[str, Any]) -> None:
    written = io.BytesIO()
    np.savez_compressed(written, **arrays)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
        new.write_bytes(written.getvalue())
        new.replace(path)
        _forget_old(path.parent)
    except OSError:
        return


def _collect_arrays(cloud: Cloud) -> dict[str, Any]:
    """Return everything of a cloud as arrays."""
    arrays: dict[str, Any] = {name: getattr(cloud, name) for name in _ARRAYS}
    arrays |= {name: arrays[name].astype(np.float16) for name in _HALF}
    arrays |= {
        "part": np.array(cloud.part),
        "condition": np.array(cloud.condition),
        "points": np.array(cloud.points),
        "named": np.array([(h.kind, h.what, h.failure, h.title) for h in cloud.hypotheses]),
        "prior": np.array([h.prior for h in cloud.hypotheses]),
    }
    return arrays


def _restore_cloud(kept: dict[str, Any]) -> Cloud:
    """Return the cloud of stored arrays."""
    arrays = {
        # Half precision on the disk is plenty for a voltage; the code works in single.
        name: kept[name].astype(np.float32) if name in _HALF else kept[name]
        for name in _ARRAYS
    }
    names_and_priors = zip(kept["named"].tolist(), kept["prior"].tolist(), strict=True)
    return Cloud(
        part=str(kept["part"]),
        condition=str(kept["condition"]),
        points=tuple(map(str, kept["points"])),
        hypotheses=tuple(
            Hypothesis(kind, what, failure, title, prior)
            for (kind, what, failure, title), prior in names_and_priors
        ),
        **arrays,
    )


def _make_path(document: str, condition: str, contents: str = "cloud") -> Path:
    key_text = "\0".join([_FORMAT, _model_digest(), contents, condition, document])
    name = hashlib.sha256(key_text.encode()).hexdigest()[:32]
    return Path(cache_folder()) / "boards" / f"{name}.npz"


@cache
def _model_digest() -> str:
    """Return a digest of the model's source: other code makes other clouds."""
    digest = hashlib.sha256()
    for path in sorted((Path(__file__).parent.parent / "board").rglob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _forget_old(folder: Path) -> None:
    kept = sorted(folder.glob("*.npz"), key=lambda path: path.stat().st_mtime)
    for path in kept[:-_KEPT]:
        path.unlink(missing_ok=True)
