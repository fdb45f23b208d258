"""A shop's folder: made once, found where it is meant, opened whole or refused in one line."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest
from pinfolio.loaders.keys.signing_key import is_signed, sign
from pinfolio.loaders.shop.known_shops import (
    KnownShop,
    format_known_shops,
    load_known_shops,
    set_state,
)
from pinfolio.loaders.shop.shop_folder import (
    Shop,
    ShopError,
    init_shop,
    open_shop,
)
from pinfolio.loaders.shop.shop_place import ENVIRONMENT, find_shop

KEY = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "bench", "bench-and-coil", author="anna", probe='x10 "long" probe')


class TestMaking:
    def test_what_was_said_is_read_again(self, shop: Shop) -> None:
        assert open_shop(shop.folder) == shop
        assert (shop.handle, shop.author, shop.probe) == (
            "bench-and-coil",
            "anna",
            'x10 "long" probe',
        )
        assert shop.meter is None
        assert all(folder.is_dir() for folder in (shop.chips, shop.notes, shop.received))

    def test_the_key_signs_for_the_shop_and_only_its_owner_reads_it(self, shop: Shop) -> None:
        signature = sign(shop.load_private_key(), b"notes")
        assert is_signed(shop.public_key, signature, b"notes")
        assert stat.S_IMODE((shop.folder / ".pinfolio-key").stat().st_mode) == 0o600
        assert ".pinfolio-key" in (shop.folder / ".gitignore").read_text().splitlines()

    def test_a_second_shop_in_the_same_folder_is_refused_and_the_key_kept(self, shop: Shop) -> None:
        before = shop.load_private_key()
        with pytest.raises(ShopError, match="is a shop already"):
            init_shop(shop.folder, "another")
        assert shop.load_private_key() == before

    @pytest.mark.parametrize("handle", ["", "Bench", "bench coil", "../x", "-a", "a" * 41, "ä"])
    def test_a_handle_that_is_none_makes_nothing(self, handle: str, tmp_path: Path) -> None:
        with pytest.raises(ShopError, match="is not a handle; use small letters"):
            init_shop(tmp_path / "bench", handle)
        assert not (tmp_path / "bench").exists()

    def test_two_shops_have_two_keys(self, shop: Shop, tmp_path: Path) -> None:
        assert init_shop(tmp_path / "other", "other").public_key != shop.public_key

    def test_a_folder_that_cannot_be_made_is_one_clear_message(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        with pytest.raises(ShopError, match="cannot be created here"):
            init_shop(tmp_path / "file" / "bench", "bench")


class TestFinding:
    def test_named_goes_before_environment_before_around_before_own(
        self, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.delenv(ENVIRONMENT, raising=False)
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
        monkeypatch.chdir(tmp_path)
        assert find_shop() == tmp_path / "data" / "pinfolio" / "shop"
        monkeypatch.chdir(shop.notes)
        assert find_shop() == shop.folder
        monkeypatch.setenv(ENVIRONMENT, "elsewhere")
        assert find_shop() == Path("elsewhere")
        assert find_shop(Path("named")) == Path("named")


class TestOpening:
    def test_no_shop_says_how_to_make_one(self, tmp_path: Path) -> None:
        with pytest.raises(ShopError, match="no shop here; make one with: pinfolio shop init"):
            open_shop(tmp_path)

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            (b"handle = ", "shop.toml: not TOML"),
            (b"\xff\xfe", "not UTF-8"),
            (b'handle = "a"', "public_key is missing; restore"),
            (f'public_key = "{KEY}"'.encode(), "handle is missing; restore"),
            (f'handle = "A B"\npublic_key = "{KEY}"'.encode(), "handle 'A B' is not a handle"),
            (b'handle = "a"\npublic_key = "12"', "64 hexadecimal digits"),
            (f'handle = "a"\npublic_key = "{KEY}"\nmeter = 3'.encode(), "meter = 3 is not text"),
            (
                f'handle = "a"\npublic_key = "{KEY}"\nphone = "1"'.encode(),
                "'phone' is not a key",
            ),
            (b"x = " + b"[" * 5000, "shop.toml: not TOML"),
        ],
    )
    def test_a_faulty_file_is_one_message_that_names_it(
        self, text: bytes, message: str, shop: Shop
    ) -> None:
        (shop.folder / "shop.toml").write_bytes(text)
        with pytest.raises(ShopError, match=message) as refused:
            open_shop(shop.folder)
        assert "shop.toml" in str(refused.value)
        assert "\n" not in str(refused.value)

    def test_without_its_key_a_shop_opens_and_cannot_sign(self, shop: Shop) -> None:
        (shop.folder / ".pinfolio-key").unlink()
        with pytest.raises(ShopError, match="private key is not here; make this computer a device"):
            open_shop(shop.folder).load_private_key()

    @pytest.mark.parametrize("text", ["", "xyz", "00" * 31, "00" * 32])
    def test_a_key_that_does_not_belong_to_it_signs_nothing(self, text: str, shop: Shop) -> None:
        (shop.folder / ".pinfolio-key").write_text(text)
        with pytest.raises(ShopError, match="pinfolio-key: "):
            shop.load_private_key()


class TestKnownShops:
    def test_none_is_known_at_first(self, shop: Shop) -> None:
        assert load_known_shops(shop) == {}

    def test_states_are_set_and_everything_else_stays(self, shop: Shop) -> None:
        known = {"b": KnownShop(KEY, "known", 7), "c": KnownShop("0" * 64, "trusted", 1)}
        shop.known_shops.write_text(format_known_shops(known))
        assert load_known_shops(shop) == known
        set_state(shop, "b", "muted")
        assert load_known_shops(shop) == known | {"b": KnownShop(KEY, "muted", 7)}
        assert {name for name, one in load_known_shops(shop).items() if one.state == "muted"} == {
            "b"
        }

    def test_an_unknown_shop_has_no_state(self, shop: Shop) -> None:
        with pytest.raises(ShopError, match="the shop 'b' is not known here; known are: none"):
            set_state(shop, "b", "trusted")

    @pytest.mark.parametrize(
        "text",
        [
            "[b",
            "[b]\nstate = 'known'",
            f"[b]\npublic_key = '{KEY}'\nstate = 'loved'",
            f"['../b']\npublic_key = '{KEY}'",
            "[b]\npublic_key = '12'",
        ],
    )
    def test_a_faulty_file_is_refused_by_name(self, text: str, shop: Shop) -> None:
        shop.known_shops.write_text(text)
        with pytest.raises(ShopError, match=r"shops\.toml: (not TOML|.* is faulty)"):
            load_known_shops(shop)


@pytest.mark.parametrize("place", ["notes", ".merged", "shops.toml", "received/b", "chips/x.yaml"])
def test_a_link_anywhere_in_the_folder_is_refused(shop: Shop, tmp_path: Path, place: str) -> None:
    path = shop.folder / place
    if path.is_dir():
        path.rmdir()
    path.symlink_to(tmp_path)
    with pytest.raises(ShopError, match="links are not followed in a shop's folder"):
        open_shop(shop.folder)


def test_opening_a_shop_to_read_carries_out_nothing(shop: Shop) -> None:
    (shop.folder / ".merged").mkdir()
    (shop.folder / ".merged" / "shops.toml").write_text("odd")
    open_shop(shop.folder)
    assert (shop.folder / ".merged" / "shops.toml").read_text() == "odd"
    with pytest.raises(ShopError, match="not made on this computer"):
        open_shop(shop.folder, to_change=True)


def test_a_full_disk_leaves_no_key_and_init_can_be_repeated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Version 0.1 left an empty key, and every later init failed with "File exists"."""

    def disk_full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", disk_full)
        with pytest.raises(ShopError, match="cannot be created here: No space left on device"):
            init_shop(tmp_path / "new", "bench-a")
    assert [path.name for path in (tmp_path / "new").iterdir() if path.is_file()] == []
    shop = init_shop(tmp_path / "new", "bench-a")
    assert len(shop.load_private_key()) == 32
