"""Two shops that exchange notes, and two computers of one shop."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.shop.note_files import add_note
from pinfolio.loaders.shop.shop_devices import certify_device, request_device
from pinfolio.loaders.shop.shop_folder import Shop, init_shop

from .shop_computers import clone_folder, copy_notes, make_caution


@pytest.fixture
def a(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "a", "bench-a")


@pytest.fixture
def b(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "b", "bench-b")


@pytest.fixture
def desk(tmp_path: Path) -> Shop:
    """The computer with the shop's key, and one note."""
    shop = init_shop(tmp_path / "desk", "bench-a")
    add_note(shop, make_caution("bench-a", "By desk.", "d"))
    return shop


@pytest.fixture
def laptop(desk: Shop) -> Shop:
    """A certified second computer, which wrote a note."""
    shop = clone_folder(desk, "laptop")
    request_device(shop, "laptop")
    copy_notes(shop, desk)
    certify_device(desk, "laptop")
    copy_notes(desk, shop)
    add_note(shop, make_caution("bench-a", "By laptop.", "l"))
    return shop


@pytest.fixture
def other(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "other", "bench-b")
