"""A shop's keys as a list: its own, and those of its devices with their state."""

from __future__ import annotations

from pathlib import Path

from pinfolio.loaders.shop.shop_devices import (
    certify_device,
    request_device,
    revoke_device,
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import KEY_FILE, init_shop
from pinfolio.plugins.notes.key_documents import describe_key, list_keys


def test_each_key_has_its_name_and_state(tmp_path: Path) -> None:
    shop = init_shop(tmp_path / "bench", "bench-a")
    own = (shop.folder / KEY_FILE).read_bytes()
    for name in ("tablet", "laptop", "phone"):
        (shop.folder / KEY_FILE).unlink()
        request_device(shop, name)
    (shop.folder / KEY_FILE).write_bytes(own)
    certify_device(shop, "laptop")
    certify_device(shop, "tablet")
    revoke_device(shop, "tablet")
    rotate_key(shop)
    assert [(line.name, line.state, line.is_here) for line in list_keys(shop)] == [
        ("shop key", "the shop's key", True),
        ("shop key", "changed", False),
        ("laptop", "certified", False),
        ("phone", "waiting", False),
        ("tablet", "revoked", False),
    ]
    current, first, *_ = list_keys(shop)
    document = describe_key(shop)
    assert (document["public_key"], document["first_key"]) == (current.key, first.key)
    assert document["fingerprint"] == current.document()["fingerprint"]
