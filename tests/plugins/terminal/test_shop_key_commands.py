"""``pinfolio shop key`` and ``pinfolio shop device``, as given on two computers of one shop."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pinfolio.plugins.terminal.cli import main

WORDS = "a solder joint in May\n"


def run(*words: object, answer: str = "") -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], input=answer)


def read_states(shop: str) -> dict[str, str]:
    keys = json.loads(run("shop", "device", "--json", "--shop", shop).stdout)["keys"]
    return {key["name"]: key["state"] for key in keys}


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("words").write_text(WORDS)
    run("shop", "init", "desk", "--handle", "bench-a")


@pytest.fixture
def laptop() -> None:
    """A copy of the folder without its key, which asked to be certified."""
    shutil.copytree("desk", "laptop", ignore=shutil.ignore_patterns(".pinfolio-key"))
    asked = run("shop", "device", "new", "workshop-laptop", "--shop", "laptop")
    assert "workshop-laptop waits to be certified; its key reads " in asked.stdout
    shutil.copytree("laptop/keys", "desk/keys")


class TestDevice:
    def test_the_key_is_shown_before_a_device_is_certified(self, laptop: None) -> None:
        certify = ("shop", "device", "certify", "workshop-laptop", "--shop", "desk")
        refused = run(*certify, answer="n\n")
        assert (refused.exit_code, read_states("desk")["workshop-laptop"]) == (1, "waiting")
        certified = run(*certify, "--yes")
        assert "The key of workshop-laptop reads" in certified.stdout
        assert read_states("desk")["workshop-laptop"] == "certified"

    def test_it_is_revoked_once_confirmed(self, laptop: None) -> None:
        run("shop", "device", "certify", "workshop-laptop", "--yes", "--shop", "desk")
        revoke = ("shop", "device", "revoke", "workshop-laptop", "--shop", "desk")
        assert run(*revoke, answer="n\n").exit_code == 1
        assert run(*revoke, answer="y\n").exit_code == 0
        assert read_states("desk") == {"shop key": "the shop's key", "workshop-laptop": "revoked"}
        table = run("shop", "device", "--shop", "desk").stdout
        assert "workshop-laptop   revoked" in table

    def test_a_device_cannot_certify(self, laptop: None) -> None:
        refused = run("shop", "device", "certify", "workshop-laptop", "--yes", "--shop", "laptop")
        assert refused.exit_code == 2
        assert "the key of a device, not the shop's" in refused.stderr

    def test_a_file_that_is_no_statement_is_named(self) -> None:
        Path("desk/keys").mkdir()
        Path("desk/keys/device-x.json").write_text("<<<<<<<")
        listed = run("shop", "device", "--shop", "desk")
        assert listed.exit_code == 0
        assert "Set aside: desk/keys/device-x.json:1:1: no statement about a key" in listed.stderr


class TestKey:
    def test_a_backup_restores_a_lost_computer(self) -> None:
        before = run("shop", "key", "--json", "--shop", "desk").stdout
        backup = ("shop", "key", "backup", "key.backup", "--passphrase-file", "words")
        made = run(*backup, "--shop", "desk")
        assert "opened again with this passphrase" in made.stdout
        restore = ("shop", "key", "restore", "key.backup", "--passphrase-file", "words")
        assert run(*restore, "--shop", "new").exit_code == 0
        assert run("shop", "key", "--json", "--shop", "new").stdout == before

    def test_without_a_terminal_the_passphrase_comes_from_a_file(self) -> None:
        refused = run("shop", "key", "backup", "key.backup", "--shop", "desk")
        assert (refused.exit_code, Path("key.backup").exists()) == (2, False)
        assert "use --passphrase-file" in refused.stderr

    @pytest.mark.parametrize("data", [b"short\n", b"\xff\xfe\n", b""])
    def test_a_passphrase_that_is_none_writes_nothing(self, data: bytes) -> None:
        Path("words").write_bytes(data)
        backup = ("shop", "key", "backup", "key.backup", "--passphrase-file", "words")
        refused = run(*backup, "--shop", "desk")
        assert (refused.exit_code in (1, 2), Path("key.backup").exists()) == (True, False)
        assert refused.stderr.count("\n") == 1

    def test_it_is_changed_once_confirmed(self) -> None:
        before = json.loads(run("shop", "key", "--json", "--shop", "desk").stdout)
        assert run("shop", "key", "rotate", "--shop", "desk", answer="n\n").exit_code == 1
        assert run("shop", "key", "rotate", "--shop", "desk", answer="y\n").exit_code == 0
        after = json.loads(run("shop", "key", "--json", "--shop", "desk").stdout)
        assert after["first_key"] == before["public_key"] != after["public_key"]
        assert f"First key    {after['first_key']}" in run("shop", "key", "--shop", "desk").stdout


class TestMend:
    def test_a_copy_is_named_and_merged(self) -> None:
        shutil.copyfile("desk/shop.toml", "desk/shop (conflicted copy).toml")
        note = ("note", "add", "QZ1", "3", "--kind", "remark", "--text", "So.", "--unlisted")
        run(*note, "--shop", "desk")
        listed = run("note", "list", "--shop", "desk")
        assert "a second copy of shop.toml, as synchronisation leaves it" in listed.stderr
        mended = run("shop", "mend", "--shop", "desk")
        assert "desk/shop (conflicted copy).toml: a copy of shop.toml" in mended.stdout
        assert run("note", "list", "--shop", "desk").stderr == ""
        assert run("shop", "mend", "--shop", "desk").stdout == "There are no copies.\n"


class TestMerge:
    def test_the_key_of_a_new_shop_is_shown_whatever_was_confirmed(self) -> None:
        run("shop", "init", "other", "--handle", "bench-b")
        note = ("note", "add", "QZ1", "3", "--kind", "remark", "--text", "So.", "--unlisted")
        assert run(*note, "--shop", "desk").exit_code == 0
        run("share", "-o", "x", "--yes", "--shop", "desk")
        reads = json.loads(run("shop", "key", "--json", "--shop", "desk").stdout)["fingerprint"]
        merged = run("merge", "x", "--accept-new", "--yes", "--shop", "other")
        assert f"New shop bench-a: its key reads {reads}" in merged.stdout
        run("shop", "key", "rotate", "--yes", "--shop", "desk")
        run("share", "-o", "x", "--yes", "--shop", "desk")
        merged = run("merge", "x", "--yes", "--shop", "other")
        assert "bench-a changed its key; it reads" in merged.stdout

    def test_a_namesake_gets_a_name_of_its_own(self) -> None:
        note = ("note", "add", "QZ1", "3", "--kind", "remark", "--text", "So.", "--unlisted")
        for folder in ("one", "two"):
            run("shop", "init", folder, "--handle", "bench-x")
            run(*note, "--shop", folder)
            run("share", "-o", f"{folder}.bundle", "--yes", "--shop", folder)
        merge = ("merge", "--accept-new", "--yes", "--shop", "desk")
        assert run(*merge, "one.bundle").exit_code == 0
        refused = run(*merge, "two.bundle")
        assert "pinfolio merge FILE --as bench-x-2" in refused.stderr
        assert run(*merge, "two.bundle", "--as", "bench-x-2").exit_code == 0
        known = json.loads(run("shops", "--json", "--shop", "desk").stdout)
        assert [(one["shop"], one["handle"]) for one in known] == [
            ("bench-x", "bench-x"),
            ("bench-x-2", "bench-x"),
        ]
