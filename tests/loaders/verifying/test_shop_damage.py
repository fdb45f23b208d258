"""Damages of a shop's folder: notes, signatures, attachments, settings, key and statements."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop
from pinfolio.loaders.verifying.shop_damage import inspect_shop, is_shop_folder


def find_faults(shop: Shop) -> list[tuple[str, str]]:
    """Name of the file within the folder, and the text found, of every fault."""
    return [(name_file(shop, fault), fault.found) for fault in inspect_shop(shop.folder).faults]


def name_file(shop: Shop, fault: Fault) -> str:
    return Path(fault.file).relative_to(shop.folder).as_posix()


def list_trusted(shop: Shop) -> list[Path]:
    """Every file whose bytes a signature, a digest or a key covers."""
    places = ("notes/*.yaml", "notes/signed/*", "notes/attachments/*", "received/*/notes.*")
    return sorted(path for place in places for path in shop.folder.glob(place))


def test_a_sound_folder_has_no_faults(shop: Shop) -> None:
    state = inspect_shop(shop.folder)
    assert (state.faults, state.notes, state.attachments) == ([], 2, 1)


def test_every_file_that_is_lost_or_changed_is_named(shop: Shop) -> None:
    trusted = list_trusted(shop)
    assert len(trusted) == 5
    for path in trusted:
        sound = path.read_bytes()
        related = {path.name, path.with_suffix(".signed").name, path.with_suffix(".jsonl").name}
        for damaged in (None, b"", sound.replace(b"5", b"6"), sound[: len(sound) // 2]):
            if damaged is None:
                path.unlink()
            else:
                path.write_bytes(damaged)
            named = {Path(name).name for name, _ in find_faults(shop)}
            assert named & (related | {path.with_suffix(".yaml").name}), (path, damaged)
            path.write_bytes(sound)
    assert find_faults(shop) == []


def test_an_attachment_that_was_changed_has_the_command_that_attaches_it(shop: Shop) -> None:
    (path,) = shop.folder.glob("notes/attachments/*")
    path.write_bytes(b"0,1\n")
    (fault,) = inspect_shop(shop.folder).faults
    assert fault.found == "an attachment that was changed"
    command = "pinfolio note edit aaaaaaaa22334455 --attach FILE --detach bars.csv"
    assert fault.expected.endswith(f"attach it again: {command}")


def test_notes_of_another_shop_come_back_with_its_bundle(shop: Shop) -> None:
    (shop.received / "bench-b" / "notes.jsonl").unlink()
    (fault,) = inspect_shop(shop.folder).faults
    assert "merge the latest bundle of bench-b again" in fault.expected


def test_lost_settings_are_still_a_shop(shop: Shop) -> None:
    (shop.folder / "shop.toml").unlink()
    assert is_shop_folder(shop.folder)
    assert find_faults(shop) == [("shop.toml", "no file")]


@pytest.mark.parametrize("text", ["", "handle =", 'handle = "Bench A"\npublic_key = "00"\n'])
def test_faulty_settings_are_named(shop: Shop, text: str) -> None:
    (shop.folder / "shop.toml").write_text(text)
    assert [name for name, _ in find_faults(shop)] == ["shop.toml"]


def test_a_faulty_list_of_shops_leaves_the_rest_verified(shop: Shop) -> None:
    shop.known_shops.write_text("[bench-b")
    (shop.received / "bench-b" / "notes.jsonl").unlink()
    assert {name for name, _ in find_faults(shop)} == {"shops.toml", "received/bench-b/notes.jsonl"}


@pytest.mark.parametrize("text", ["", "00", "zz" * 32, "00" * 32])
def test_a_private_key_that_does_not_fit_the_shop(shop: Shop, text: str) -> None:
    (shop.folder / KEY_FILE).write_text(text)
    names = [name for name, _ in find_faults(shop)]
    assert KEY_FILE in names


def test_a_copy_without_the_private_key_is_sound(shop: Shop) -> None:
    (shop.folder / KEY_FILE).unlink()
    assert find_faults(shop) == []


def test_a_statement_that_is_none(shop: Shop) -> None:
    (shop.folder / "keys").mkdir()
    (shop.folder / "keys" / "rotation-0123456789abcdef.json").write_text("{}")
    assert find_faults(shop) == [
        ("keys/rotation-0123456789abcdef.json", "no statement about a key")
    ]


def test_a_copy_that_synchronisation_left(shop: Shop) -> None:
    (shop.folder / "shops (conflicted copy).toml").write_text("")
    ((name, found),) = find_faults(shop)
    assert name == "shops (conflicted copy).toml"
    assert "second copy" in found


def test_a_link_is_named_and_not_followed(shop: Shop) -> None:
    (shop.notes / "attachments" / "link").symlink_to("/etc")
    assert find_faults(shop) == [("notes/attachments/link", "a link")]
