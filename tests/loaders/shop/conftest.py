"""Two shops that exchange notes."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.shop.shop_folder import Shop, init_shop


@pytest.fixture
def a(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "a", "bench-a")


@pytest.fixture
def b(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "b", "bench-b")
