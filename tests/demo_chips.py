"""The chips of the demonstration by the names of their files, read once for all tests."""

from __future__ import annotations

from typing import Final

from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip

DEMO: Final[dict[str, Chip]] = {path.stem: load_chip(path) for path in chip_files()}
