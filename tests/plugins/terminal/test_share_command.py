"""Two shops on the command line: they swap notes through files until both hold the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import permutations, product
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.loaders.shop.note_files import add_note, load_all_notes
from pinfolio.loaders.shop.shop_folder import Shop, open_shop
from pinfolio.loaders.shop.shop_place import ENVIRONMENT
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema.note import Note, find_newest, find_proposals

Do = Callable[..., Result]


@pytest.fixture(autouse=True)
def shops(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two shops side by side, ``a`` and ``b``, in the folder that commands are given in."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(ENVIRONMENT, raising=False)
    for name in "ab":
        assert run("shop", "init", name, "--handle", f"bench-{name}").exit_code == 0


def run(*words: object, answer: str = "") -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], input=answer)


def write_note(folder: str, letters: str, text: str = "Reads so.", **fields: object) -> Note:
    """A note added to a shop's own."""
    shop = open_shop(Path(folder))
    whole = {
        "id": f"{(letters * 8)[:8]}22334455",
        "kind": "remark",
        "shop": shop.handle,
        "author": shop.handle,
        "date": "2026-11-25",
        "chip": "QZ1000",
        "at": "pin 3",
        "text": text,
    }
    note = Note.model_validate(whole | fields)
    add_note(shop, note)
    return note


def share(folder: str, out: str, *words: str) -> Result:
    return run("share", "-o", out, "--shop", folder, "--yes", *words)


def merge(folder: str, *words: str, answer: str = "y\n") -> Result:
    return run("merge", *words, "--shop", folder, answer=answer)


def list_revisions(folder: str) -> list[Note]:
    return load_all_notes(open_shop(Path(folder)))


class TestExchange:
    def test_both_ways_in_any_order_and_repeatedly_both_end_with_the_same(self) -> None:
        first = write_note("a", "b")
        write_note("b", "c", chip="QZ2000")
        share("a", "a1")
        share("b", "b1")
        merge("a", "b1", "--accept-new")
        merge("b", "a1", "--accept-new")
        write_note("a", "b", "Better.", follows=[first.digest])
        write_note("b", "b", "Better still.", follows=[first.digest])
        share("a", "a2")
        share("b", "b2", "--chip", "QZ1000")
        write_note("a", "d", withdrawn=True)
        share("a", "a3")
        for order in permutations(["a1", "a2", "a3"]):
            assert merge("b", *order, *order).exit_code == 0
        for order in permutations(["b1", "b2"]):
            for file in order:
                merge("a", file, "--yes")
        assert list_revisions("a") == list_revisions("b")
        assert len(list_revisions("a")) == 5
        both = [note for note in list_revisions("b") if note.id == first.id]
        assert [note.text for note in find_newest(both)] == ["Better."]
        assert [note.text for note in find_proposals(both)] == ["Better still."]

    def test_the_same_notes_make_the_same_file(self) -> None:
        write_note("a", "b")
        share("a", "one")
        share("a", "two")
        assert Path("one").read_bytes() == Path("two").read_bytes()

    def test_the_shop_around_is_meant_where_none_is_named(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        write_note("a", "b")
        monkeypatch.chdir(tmp_path / "a" / "notes")
        assert run("share", "-o", tmp_path / "x").exit_code == 0
        assert (tmp_path / "x").is_file()


class TestMerge:
    def test_the_plan_is_shown_and_nothing_written_without_a_yes(self) -> None:
        write_note("a", "b")
        share("a", "a1")
        answered = merge("b", "a1", "--accept-new", answer="n\n")
        assert answered.exit_code == 1
        assert "new    bench-a   QZ1000   pin 3   remark   2026-11-25" in answered.stdout
        assert "1 new, 0 newer, 0 same, 0 withdrawn, 0 in conflict" in answered.stdout
        assert list_revisions("b") == []

    def test_an_unknown_shop_is_shown_and_refused_until_said_so(self) -> None:
        write_note("a", "b")
        share("a", "a1")
        reads = json.loads(run("shop", "key", "--json", "--shop", "a").stdout)["fingerprint"]
        refused = merge("b", "a1", "--yes")
        assert refused.exit_code == 1
        assert f"bench-a is not known here; its key reads {reads}" in refused.stderr
        assert "1 new" in refused.stdout
        assert list_revisions("b") == []
        assert merge("b", "a1", "--accept-new").exit_code == 0
        assert len(list_revisions("b")) == 1

    def test_merged_again_it_says_that_all_is_here(self) -> None:
        write_note("a", "b")
        share("a", "a1")
        merge("b", "a1", "--accept-new")
        again = merge("b", "a1", answer="")
        assert again.exit_code == 0
        assert "Nothing to merge: everything is here already." in again.stdout

    def test_json_is_the_plan(self) -> None:
        note = write_note("a", "b")
        share("a", "a1")
        plan = json.loads(merge("b", "a1", "--json", "--yes", "--accept-new").stdout)
        assert plan["counts"]["new"] == 1
        assert list(plan["unknown"]) == ["bench-a"]
        assert plan["notes"] == [{"what": "new", **json.loads(note.document())}]

    @pytest.mark.parametrize(
        ("data", "said"),
        [
            (b"no zip", "no zip file"),
            (None, "no such file"),
        ],
    )
    def test_what_is_no_bundle_is_one_line_and_status_2(
        self, data: bytes | None, said: str
    ) -> None:
        if data is not None:
            Path("x").write_bytes(data)
        refused = merge("b", "x")
        assert refused.exit_code == 2
        assert said in refused.stderr
        assert refused.stderr.count("\n") == 1

    def test_one_bad_file_among_good_ones_keeps_all_of_them_out(self) -> None:
        write_note("a", "b")
        share("a", "a1")
        Path("x").write_bytes(Path("a1").read_bytes()[:-1])
        assert merge("b", "a1", "x", "--accept-new", "--yes").exit_code == 2
        assert list_revisions("b") == []

    def test_an_older_one_and_a_forged_one_are_refused(self) -> None:
        first = write_note("a", "b")
        share("a", "old")
        write_note("a", "b", "Better.", follows=[first.digest])
        share("a", "new")
        merge("b", "new", "--accept-new")
        old = merge("b", "old")
        assert (old.exit_code, "older than a bundle of bench-a" in old.stderr) == (2, True)
        run("shop", "init", "forger", "--handle", "bench-a")
        write_note("forger", "c")
        share("forger", "forged")
        forged = merge("b", "forged", "--accept-new", "--yes")
        assert (forged.exit_code, "THE KEY HAS CHANGED" in forged.stderr) == (2, True)
        assert list_revisions("b") == list_revisions("a")

    def test_a_long_plan_is_cut_short_on_a_screen(self) -> None:
        for one, other in product("bcdefgh", "ijklmno"):
            write_note("a", one + other)
        share("a", "a1")
        shown = merge("b", "a1", "--accept-new").stdout
        assert shown.count("QZ1000") == 40
        assert "... and 9 more" in shown


class TestShare:
    def test_what_looks_personal_is_named_and_asked_about(self) -> None:
        write_note("a", "b", "Ask the owner, ring +44 20 7946 0123.")
        refused = run("share", "-o", "x", "--shop", "a", answer="n\n")
        assert refused.exit_code == 1
        assert "QZ1000 pin 3, text: '+44 20 7946 0123' looks like a telephone number" in (
            refused.stderr
        )
        assert not Path("x").exists()
        assert run("share", "-o", "x", "--shop", "a", answer="y\n").exit_code == 0

    def test_no_notes_are_no_bundle(self) -> None:
        write_note("a", "b", date="2026-01-02")
        none = share("a", "x", "--since", "2026-06-01")
        assert (none.exit_code, Path("x").exists()) == (1, False)
        assert "no notes of your own to share" in none.stderr

    def test_a_day_that_is_none_is_wrong_input(self) -> None:
        assert share("a", "x", "--since", "yesterday").exit_code == 2


class TestShops:
    @pytest.fixture(autouse=True)
    def known(self, shops: None) -> None:
        write_note("a", "b")
        share("a", "a1")
        merge("b", "a1", "--accept-new")

    def test_trust_asks_whether_the_key_reads_the_same(self) -> None:
        reads = json.loads(run("shop", "key", "--json", "--shop", "a").stdout)["fingerprint"]
        asked = run("shops", "--shop", "b", "trust", "bench-a", answer="n\n")
        assert f"The key of bench-a reads {reads}" in asked.stdout
        assert self.state() == "known"
        run("shops", "--shop", "b", "trust", "bench-a", answer="y\n")
        assert self.state() == "trusted"
        assert "bench-a   trusted" in run("shops", "--shop", "b").stdout

    def test_a_muted_shop_is_heard_no_more(self) -> None:
        run("shops", "--shop", "b", "mute", "bench-a")
        assert self.state() == "muted"
        assert list_revisions("b") == []
        assert "bench-a is muted; to hear it again" in merge("b", "a1").stderr

    def test_the_folder_may_be_named_after_the_subcommand(self) -> None:
        assert run("shops", "trust", "bench-a", "--yes", "--shop", "b").exit_code == 0
        assert self.state() == "trusted"
        assert run("shops", "mute", "bench-a", "--shop", "b").exit_code == 0
        assert self.state() == "muted"

    def test_an_unknown_one_is_named(self) -> None:
        refused = run("shops", "--shop", "b", "mute", "bench-x")
        assert (refused.exit_code, "known are: bench-a" in refused.stderr) == (2, True)

    def test_none_known_says_where_notes_come_from(self) -> None:
        assert "pinfolio merge FILE" in run("shops", "--shop", "a").stdout

    def state(self) -> str:
        (one,) = json.loads(run("shops", "--shop", "b", "--json").stdout)
        return str(one["state"])


class TestShop:
    def test_init_says_how_the_key_reads(self) -> None:
        made = run("shop", "init", "c", answer="bench-c\n")
        shop: Shop = open_shop(Path("c"))
        assert shop.handle == "bench-c"
        reads = json.loads(run("shop", "key", "--shop", "c", "--json").stdout)
        assert reads["fingerprint"] in made.stdout
        assert reads["public_key"] == shop.public_key.hex()
        assert (
            shop.load_private_key().hex()
            not in made.stdout + run("shop", "key", "--shop", "c").stdout
        )

    def test_an_instrument_that_is_not_known_makes_no_shop(self) -> None:
        refused = run("shop", "init", "c", "--handle", "c", "--probe", "x10 prob")
        assert refused.exit_code == 1
        assert not Path("c").exists()

    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (("shop", "init", "a", "--handle", "c"), "is a shop already"),
            (("shop", "init", "c", "--handle", "Our Shop"), "use small letters, digits"),
            (("shop", "key", "--shop", "nowhere"), "make one with: pinfolio shop init"),
        ],
    )
    def test_what_cannot_be_done_is_one_line_and_status_2(
        self, words: tuple[str, ...], said: str
    ) -> None:
        refused = run(*words)
        assert refused.exit_code == 2
        assert said in refused.stderr
        assert refused.stderr.count("\n") == 1
