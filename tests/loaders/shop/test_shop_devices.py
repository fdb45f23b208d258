"""Several computers of one shop: requests, certificates, revocation, rotation."""

from __future__ import annotations

import shutil
import stat
from pathlib import Path

import pytest
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.shop.known_shops import load_known_shops, set_state
from pinfolio.loaders.shop.merging import MergeError, apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note
from pinfolio.loaders.shop.shop_devices import (
    certify_device,
    request_device,
    revoke_device,
    rotate_key,
)
from pinfolio.loaders.shop.shop_folder import KEY_FILE, Shop, ShopError, open_shop

from .shop_computers import (
    clone_folder,
    copy_notes,
    make_caution,
    merge_bundles,
    read_texts,
    share_first_note,
    share_notes,
    use_strange_computer,
)


class TestDevices:
    def test_a_clone_reads_writes_and_is_certified_later(self, desk: Shop) -> None:
        shop = clone_folder(desk, "laptop")
        assert read_texts(shop) == {"By desk."}
        request_device(shop, "laptop")
        assert stat.S_IMODE((shop.folder / KEY_FILE).stat().st_mode) == 0o600
        add_note(shop, make_caution("bench-a", "Early.", "l"))
        assert read_texts(shop) == {"By desk.", "Early."}
        with pytest.raises(ShopError, match="not certified by the shop's key yet"):
            share_notes(shop)
        copy_notes(shop, desk)
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk."}
        assert "pinfolio shop device certify laptop" in faults[0].expected
        certify_device(desk, "laptop")
        faults.clear()
        assert read_texts(desk, faults) == {"By desk.", "Early."}
        assert faults == []
        copy_notes(desk, shop)
        assert share_notes(shop).manifest.public_key == shop.find_public_key()

    def test_only_the_shops_key_certifies_and_revokes(self, laptop: Shop) -> None:
        for refused in (lambda: rotate_key(laptop), lambda: revoke_device(laptop, "laptop")):
            with pytest.raises(ShopError, match="the key of a device, not the shop's"):
                refused()

    def test_a_computer_with_a_key_draws_no_other(self, desk: Shop) -> None:
        before = desk.load_private_key()
        with pytest.raises(ShopError, match="this computer has a key"):
            request_device(desk, "desk")
        assert desk.load_private_key() == before

    @pytest.mark.parametrize("name", ["Laptop", "../x", "", "laptop"])
    def test_a_name_that_is_none_or_taken_is_refused(
        self, desk: Shop, laptop: Shop, name: str
    ) -> None:
        with pytest.raises(ShopError, match=r"is not a handle|another device has this name"):
            request_device(clone_folder(desk, "third"), name)

    def test_an_unknown_device_is_named_with_those_there_are(
        self, desk: Shop, laptop: Shop
    ) -> None:
        with pytest.raises(ShopError, match="'tablet': no such device here to choose; there is la"):
            revoke_device(desk, "tablet")


class TestTwoComputers:
    def test_neither_refuses_the_others_news(self, desk: Shop, laptop: Shop, other: Shop) -> None:
        """The laptop, with fewer notes, is not an older state of the desk."""
        for name in "efgh":
            add_note(desk, make_caution("bench-a", f"Desk {name}.", name))
        merge_bundles(other, share_notes(desk))
        merge_bundles(other, share_notes(laptop))
        assert {"By laptop.", "By desk.", "Desk h."} <= read_texts(other)
        add_note(desk, make_caution("bench-a", "Desk again.", "i"))
        merge_bundles(other, share_notes(desk))
        assert "Desk again." in read_texts(other)
        assert load_known_shops(other)["bench-a"].devices.keys() == {laptop.find_public_key()}

    def test_they_take_each_others_notes_by_bundles(self, desk: Shop, laptop: Shop) -> None:
        merge_bundles(desk, share_notes(laptop))
        merge_bundles(laptop, share_notes(desk))
        assert read_texts(desk) == read_texts(laptop) == {"By desk.", "By laptop."}

    def test_statements_come_with_the_own_shops_bundle(self, desk: Shop, laptop: Shop) -> None:
        rotate_key(desk)
        merge_bundles(laptop, share_notes(desk))
        assert laptop.load_keys().chain == desk.load_keys().chain
        assert share_notes(laptop).manifest.format == "pinfolio bundle 2"

    def test_a_shop_without_statements_writes_the_first_format(self, desk: Shop) -> None:
        assert share_notes(desk).manifest.format == "pinfolio bundle 1"


class TestRevocation:
    def test_its_notes_that_are_here_stay_and_later_ones_are_set_aside(
        self, desk: Shop, laptop: Shop
    ) -> None:
        copy_notes(laptop, desk)
        revoke_device(desk, "laptop")
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk.", "By laptop."}
        assert faults == []
        with use_strange_computer():
            add_note(laptop, make_caution("bench-a", "By the thief.", "t"))
        copy_notes(laptop, desk)
        assert "By the thief." not in read_texts(desk, faults)
        assert any("the device laptop was revoked on" in fault.found for fault in faults)

    def test_other_shops_keep_what_they_had_and_take_no_more(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        merge_bundles(other, share_notes(laptop))
        copy_notes(laptop, desk)
        revoke_device(desk, "laptop")
        merge_bundles(other, share_notes(desk))
        with use_strange_computer():
            add_note(laptop, make_caution("bench-a", "By the thief.", "t"))
            bundle = share_notes(laptop)
        with pytest.raises(MergeError, match="the device laptop was revoked on"):
            plan_merge(other, [bundle])
        assert read_texts(other) == {"By desk.", "By laptop."}

    def test_old_and_new_bundles_come_in_any_order_at_once(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        old = share_notes(laptop)
        revoke_device(desk, "laptop")
        for bundles in ([old, share_notes(desk)], [share_notes(desk), old]):
            with pytest.raises(MergeError, match="was revoked"):
                plan_merge(other, bundles)

    def test_replaying_a_bundle_or_the_whole_folder_does_not_undo_it(
        self, desk: Shop, laptop: Shop, other: Shop, tmp_path: Path
    ) -> None:
        merge_bundles(other, share_notes(laptop))
        replayed, folder = share_notes(laptop), tmp_path / "old copy"
        shutil.copytree(other.folder, folder)
        revoke_device(desk, "laptop")
        merge_bundles(other, share_notes(desk))
        for shop in (other, open_shop(folder)):
            with pytest.raises(MergeError, match="was revoked"):
                plan_merge(shop, [replayed])

    def test_the_computer_can_become_a_device_anew(self, desk: Shop, laptop: Shop) -> None:
        revoke_device(desk, "laptop")
        copy_notes(desk, laptop)
        with pytest.raises(ShopError, match="the device laptop was revoked"):
            laptop.load_private_key()
        request_device(laptop, "laptop-again")
        copy_notes(laptop, desk)
        certify_device(desk, "laptop-again")
        assert len(desk.load_keys().devices) == 1


class TestRotation:
    def test_notes_and_devices_stay_and_the_old_key_signs_no_more(
        self, desk: Shop, laptop: Shop, other: Shop
    ) -> None:
        copy_notes(laptop, desk)
        merge_bundles(desk, share_of_stranger := share_first_note(other))
        old_folder = desk.folder.parent / "stolen"
        shutil.copytree(desk.folder, old_folder)
        before = desk.load_private_key()
        rotate_key(desk)
        faults: list[Fault] = []
        assert read_texts(desk, faults) == {"By desk.", "By laptop.", "Theirs."}
        assert faults == []
        assert desk.load_private_key() != before
        assert plan_merge(desk, [share_of_stranger]).is_empty
        with pytest.raises(ShopError, match="the shop changed this key for another"):
            share_notes(open_shop(old_folder))
        copy_notes(desk, laptop)
        merge_bundles(other, share_notes(laptop), share_notes(desk))
        assert read_texts(other) == {"By desk.", "By laptop.", "Theirs."}

    def test_a_bundle_of_the_old_key_is_refused_once_the_new_one_is_known(
        self, desk: Shop, other: Shop
    ) -> None:
        old = share_notes(desk)
        merge_bundles(other, old)
        set_state(other, "bench-a", "trusted")
        rotate_key(desk)
        planned = plan_merge(other, [share_notes(desk)])
        assert list(planned.changed_keys) == ["bench-a"]
        apply_plan(planned)
        known = load_known_shops(other)["bench-a"]
        assert (known.state, known.key) == ("known", desk.find_public_key())
        with pytest.raises(MergeError, match="the shop changed this key for another on"):
            plan_merge(other, [old])

    def test_a_thiefs_rotation_after_the_owners_is_refused(
        self, desk: Shop, other: Shop, tmp_path: Path
    ) -> None:
        stolen = tmp_path / "stolen"
        shutil.copytree(desk.folder, stolen)
        rotate_key(desk)
        merge_bundles(other, share_notes(desk))
        with use_strange_computer():
            thief = open_shop(stolen)
            rotate_key(thief)
            bundle = share_notes(thief)
        with pytest.raises(MergeError, match="THE KEY OF bench-a HAS CHANGED TWICE"):
            plan_merge(other, [bundle])

    def test_rotating_twice_leads_from_key_to_key(self, desk: Shop, other: Shop) -> None:
        merge_bundles(other, share_notes(desk))
        rotate_key(desk)
        rotate_key(desk)
        merge_bundles(other, share_notes(desk))
        assert load_known_shops(other)["bench-a"].key == desk.load_keys().chain[2]
