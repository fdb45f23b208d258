"""A merge that is killed, or meets another one, brings in all of its notes or none."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import sys
import time
from hashlib import sha256
from pathlib import Path

import pytest
from pinfolio.loaders.shop.bundle_reading import Bundle, BundleError
from pinfolio.loaders.shop.known_shops import load_known_shops, set_state
from pinfolio.loaders.shop.merging import MergeError, apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_folder import Shop, ShopError, init_shop, open_shop
from pinfolio.loaders.system.folder_changes import change_together

from .exchanged_bundles import CSV, make_note, merge_bundle, read_files, share_notes


class TestInterrupted:
    def test_at_any_instant_the_folder_is_before_or_after(self, a: Shop, b: Shop) -> None:
        """The process is killed before its nth step on the file system, for every n.

        Steps are Python's audit events (PEP 578, table of events in the library reference), of
        which each call that opens, makes, moves or removes a file raises one before it acts.
        """
        note = make_note("bench-a")
        add_note(a, note)
        merge_bundle(b, share_notes(a))
        before = read_files(b)
        attached = {"name": "trace.csv", "sha256": sha256(CSV).hexdigest()}
        add_note(
            a, make_note("bench-a", "Better.", follows=[note.digest], attachments=[attached]), [CSV]
        )
        bundle = share_notes(a)
        after = _read_after_merging(b, bundle)
        outcomes = []
        for step in range(1, 1000):
            copy = b.folder.with_name(f"killed-{step}")
            shutil.copytree(b.folder, copy)
            finished = _kill_at(step, copy, bundle)
            left = read_files(open_shop(copy, to_change=True))
            assert left in (before, after), f"killed at step {step}"
            outcomes.append(left == after)
            merge_bundle(open_shop(copy), bundle)
            assert read_files(open_shop(copy)) == after
            if finished:
                break
        assert outcomes == sorted(outcomes)
        assert outcomes.count(False) > 5
        assert outcomes.count(True) > 5

    def test_a_bundle_changed_since_it_was_verified_is_refused(self, a: Shop, b: Shop) -> None:
        attached = {"name": "trace.csv", "sha256": sha256(CSV).hexdigest()}
        add_note(a, make_note("bench-a", attachments=[attached]), [CSV])
        bundle, before = share_notes(a), read_files(b)
        bundle.path.write_bytes(bundle.path.read_bytes().replace(CSV, CSV[::-1]))
        with pytest.raises(BundleError):
            merge_bundle(b, bundle)
        assert read_files(b) == before

    def test_two_bundles_come_in_together_or_not_at_all(
        self, a: Shop, b: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        c = init_shop(tmp_path / "c", "bench-c")
        for shop in (a, b):
            add_note(shop, make_note(shop.handle))
        bundles, before = [share_notes(a), share_notes(b)], read_files(c)
        monkeypatch.setattr(os, "fsync", _raise_disk_full)
        with pytest.raises(Exception, match="cannot be saved"):
            merge_bundle(c, *bundles)
        assert read_files(c) == before
        assert not list(c.folder.glob(".merging-*"))

    def test_what_was_laid_out_and_never_decided_is_cleared_after_a_day(
        self, a: Shop, b: Shop
    ) -> None:
        for name, age_s in (("old", 90_000), ("new", 60)):
            (b.folder / f".merging-{name}").mkdir()
            then = time.time() - age_s
            os.utime(b.folder / f".merging-{name}", (then, then))
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        assert [path.name for path in b.folder.glob(".merging-*")] == [".merging-new"]


class TestAtTheSameMoment:
    @pytest.mark.parametrize("round_", range(5))
    def test_two_merges_into_one_folder_both_come_in(
        self, round_: int, a: Shop, b: Shop, tmp_path: Path
    ) -> None:
        """Both were planned before either began; neither loses the other's notes."""
        c = init_shop(tmp_path / "c", "bench-c")
        for shop in (a, b):
            add_note(shop, make_note(shop.handle, name=shop.handle[-1]))
        processes = multiprocessing.get_context("fork")
        both_planned = processes.Barrier(2)

        def merge(bundle: Bundle) -> None:
            planned = plan_merge(c, [bundle])
            both_planned.wait()
            apply_plan(planned, accept_new=True)

        both = [processes.Process(target=merge, args=(share_notes(shop),)) for shop in (a, b)]
        for process in both:
            process.start()
        for process in both:
            process.join()
        assert [process.exitcode for process in both] == [0, 0]
        assert {note.shop for note in load_all_notes(c)} == {"bench-a", "bench-b"}
        assert set(load_known_shops(c)) == {"bench-a", "bench-b"}

    def test_a_shop_muted_after_the_plan_stays_out(self, a: Shop, b: Shop) -> None:
        add_note(a, make_note("bench-a"))
        merge_bundle(b, share_notes(a))
        add_note(a, make_note("bench-a", name="b"))
        planned, before = plan_merge(b, [share_notes(a)]), load_all_notes(b)
        set_state(b, "bench-a", "muted")
        with pytest.raises(MergeError, match="bench-a is muted"):
            apply_plan(planned)
        assert len(before) == 1
        assert load_known_shops(b)["bench-a"].state == "muted"

    def test_who_waits_for_long_is_told_why(
        self, a: Shop, b: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("pinfolio.loaders.system.folder_changes._WAIT_S", 0.05)
        add_note(a, make_note("bench-a"))
        bundle, before = share_notes(a), read_files(b)
        with (
            change_together(b.folder),
            pytest.raises(ShopError, match="cannot be saved: another process is using it; try"),
        ):
            merge_bundle(b, bundle)
        assert read_files(b) == before


def _raise_disk_full(file: int) -> None:
    raise OSError(28, "No space left on device")


def _read_after_merging(shop: Shop, bundle: Bundle) -> dict[str, bytes]:
    copy = shop.folder.with_name("after")
    shutil.copytree(shop.folder, copy)
    merge_bundle(open_shop(copy), bundle)
    return read_files(open_shop(copy))


_STEPS = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "shutil.rmtree", "os.scandir"}


def _kill_at(step: int, folder: Path, bundle: Bundle) -> bool:
    """Merge in a process of its own that is killed at its nth step; whether it came to the end."""
    process = os.fork()
    if process == 0:
        left = step

        def count_down(event: str, arguments: object) -> None:
            nonlocal left
            left -= event in _STEPS
            if left == 0 and event in _STEPS:
                os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count_down)
        merge_bundle(open_shop(folder), bundle)
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == 0
