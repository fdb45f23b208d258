"""A year of three shops with two computers each, told in the commands they give.

A rogue edit of a caution, a stolen laptop, a lost key, a namesake, a renumbered chip, 2,000 rows of
an old repair book. At the end all computers hold the same notes, and nothing old that is played
again changes that.
All shops, sets and parts are invented.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from itertools import count, permutations
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.shop.note_files import load_all_notes
from pinfolio.loaders.shop.shop_folder import open_shop
from pinfolio.plugins.readings.observed_range import compute_observed_ranges
from pinfolio.plugins.terminal.cli import main

SHOPS = ("north", "south", "east")
CHIP, PIN = "TQZ5752", "13"
_NUMBERS = count(1)


@dataclass(frozen=True)
class Computer:
    """A computer of a shop: its folder, and what the system remembers for its user."""

    home: Path

    @property
    def folder(self) -> Path:
        return self.home / "bench"

    def run(self, *words: object, is_refused: bool | None = False) -> Result:
        """Give a command here and check its exit status; with None either will do."""
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("XDG_STATE_HOME", str(self.home / "state"))
            patch.setenv("XDG_CONFIG_HOME", str(self.home / "config"))
            patch.setenv("PINFOLIO_SHOP", str(self.folder))
            result = CliRunner().invoke(main, [str(word) for word in words])
        assert is_refused in (None, result.exit_code != 0), result.output
        return result

    def note(self, kind: str, *words: object) -> str:
        """Add a note on the pin and return its id."""
        added = self.run("note", "add", CHIP, PIN, "--kind", kind, *words)
        return added.stdout.partition(":")[0]

    def share(self) -> Path:
        path = self.home.parent / f"{self.home.name}-{next(_NUMBERS)}.bundle"
        self.run("share", "-o", path, "--yes")
        return path

    def merge(self, *words: object, is_refused: bool | None = False) -> Result:
        return self.run("merge", *words, "--accept-new", "--yes", is_refused=is_refused)

    def list_notes(self) -> dict[str, Any]:
        listed = self.run("note", "list", "--json")
        assert listed.stderr == ""
        return {note["id"]: note for note in json.loads(listed.stdout)["notes"]}


class Year:
    """The six computers, and files carried between the two of a shop."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "words").write_text("a solder joint in May\n")
        self.desk = {name: Computer(folder / f"{name}-desk") for name in SHOPS}
        self.laptop = {name: Computer(folder / f"{name}-laptop") for name in SHOPS}

    def carry(self, source: Computer, target: Computer) -> None:
        """Copy what version control would: everything but the private key."""
        ignore = shutil.ignore_patterns(".pinfolio-key", "shops.toml", "received")
        shutil.copytree(source.folder, target.folder, ignore=ignore, dirs_exist_ok=True)

    def begin(self, name: str) -> None:
        desk, laptop = self.desk[name], self.laptop[name]
        desk.home.mkdir()
        desk.run("shop", "init", desk.folder, "--handle", name)
        backup = ("shop", "key", "backup", self.folder / f"{name}.backup")
        desk.run(*backup, "--passphrase-file", self.folder / "words")
        self.carry(desk, laptop)
        laptop.run("shop", "device", "new", "laptop")
        self.carry(laptop, desk)
        desk.run("shop", "device", "certify", "laptop", "--yes")
        self.carry(desk, laptop)

    @property
    def computers(self) -> list[Computer]:
        """All computers that the shops still have."""
        return [*self.desk.values(), *self.laptop.values()]

    def swap_all(self) -> None:
        """Every computer merges the latest bundle of every desk, its own shop's included."""
        for bundle in [desk.share() for desk in self.desk.values()]:
            for computer in self.computers:
                computer.merge(bundle)


@pytest.fixture
def year(tmp_path: Path, demo_path: Path, monkeypatch: pytest.MonkeyPatch) -> Year:
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    year = Year(tmp_path)
    for name in SHOPS:
        year.begin(name)
    return year


def count_observed_shops(computer: Computer) -> int:
    """The number of shops that the observed range of the pin's DC voltage counts there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(computer.home / "state"))
        notes = load_all_notes(open_shop(computer.folder), [])
    return compute_observed_ranges(notes, "no signal")["dc"].shops


def test_three_shops_in_a_year(year: Year, tmp_path: Path) -> None:
    january = write_readings(year)
    compare_keys(year)
    edit_a_caution_away(year)
    steal_a_laptop(year)
    lose_a_desk(year)
    meet_a_namesake(year)
    number_the_pins_anew(year, tmp_path / "folio.db")
    play_january_again(year, january)
    import_the_old_book(year, tmp_path / "book.csv")


def write_readings(year: Year) -> list[Path]:
    """January: each desk and each laptop reads the pin in two good sets.

    Neither computer of a shop refuses the other's news, although it has fewer notes than both.
    """
    for number, name in enumerate(SHOPS):
        desk, laptop = year.desk[name], year.laptop[name]
        for computer in (desk, laptop):
            for volts in (3.05, 3.10):
                reading = ("--condition", "no signal", "--dc", f"{volts + number / 100:.2f} V")
                computer.note("known-good reading", *reading, "--chassis", f"set {next(_NUMBERS)}")
        from_laptop, from_desk = laptop.share(), desk.share()
        desk.merge(from_laptop)
        laptop.merge(from_desk)
    january = [computer.share() for computer in year.computers]
    year.swap_all()
    assert [len(computer.list_notes()) for computer in year.computers] == [12] * 6
    return january


def compare_keys(year: Year) -> None:
    """February: while nobody compared a key, the other two shops count as one."""
    assert count_observed_shops(year.desk["north"]) == 2
    for one, other in permutations(SHOPS, 2):
        year.desk[one].run("shops", "trust", other, "--yes")
    assert count_observed_shops(year.desk["north"]) == 3


def edit_a_caution_away(year: Year) -> None:
    """March: north warns, east edits the warning away; everybody still reads north's words."""
    north, east = year.desk["north"], year.desk["east"]
    caution = north.note("caution", "--text", "R712 carries mains.")
    year.swap_all()
    east.run("note", "edit", caution, "--text", "Safe to touch.")
    year.swap_all()
    for computer in year.computers:
        note = computer.list_notes()[caution]
        assert note["text"] == "R712 carries mains."
        assert [edit["text"] for edit in note["proposals"]] == ["Safe to touch."]
    own_words = north.list_notes()[caution]["digest"]
    north.run("note", "edit", caution, "--keep", own_words[:8])
    year.swap_all()
    for computer in year.computers:
        assert "proposals" not in computer.list_notes()[caution]


def steal_a_laptop(year: Year) -> None:
    """May: south revokes its stolen laptop; nobody takes what the thief writes on it."""
    thief = year.laptop.pop("south")
    year.desk["south"].run("shop", "device", "revoke", "laptop", "--yes")
    thief.note("caution", "--text", "Bridge the fuse.")
    stolen, news = thief.share(), year.desk["south"].share()
    for computer in year.computers:
        if computer != year.desk["south"]:
            assert "south revoked its device laptop" in computer.merge(news).stdout
        refused = computer.merge(stolen, is_refused=True)
        assert "the device laptop was revoked on" in refused.stderr
        assert len(computer.list_notes()) == 13


def lose_a_desk(year: Year) -> None:
    """August: north's desk burns. Its key comes back from the backup, its notes from the laptop.

    Who had the disk may have had the key, so it is changed; trust ends until it is compared again.
    """
    shutil.rmtree(year.desk["north"].home)
    desk = year.desk["north"] = Computer(year.folder / "north-new-desk")
    year.carry(year.laptop["north"], desk)
    restore = ("shop", "key", "restore", year.folder / "north.backup")
    desk.run(*restore, "--passphrase-file", year.folder / "words")
    assert len(desk.list_notes()) == 5
    desk.run("shop", "key", "rotate", "--yes")
    desk.note("remark", "--text", "Moved to the new bench.")
    news = desk.share()
    east = year.desk["east"]
    assert "north changed its key; it reads" in east.merge(news).stdout
    states = {one["shop"]: one["state"] for one in json.loads(east.run("shops", "--json").stdout)}
    assert states == {"north": "known", "south": "trusted"}
    year.swap_all()
    assert [len(computer.list_notes()) for computer in year.computers] == [14] * 5


def meet_a_namesake(year: Year) -> None:
    """October: another shop calls itself south. Both are known, under two names."""
    namesake = Computer(year.folder / "namesake")
    namesake.home.mkdir()
    namesake.run("shop", "init", namesake.folder, "--handle", "south")
    namesake.note("remark", "--text", "By the other south.")
    bundle = namesake.share()
    assert "THE KEY HAS CHANGED" in year.desk["east"].merge(bundle, is_refused=True).stderr
    for computer in year.computers:
        computer.merge(bundle, "--as", "south-river")
        by = {note["shop"] for note in computer.list_notes().values()}
        assert by == {"north", "south", "east", "south-river"}


def number_the_pins_anew(year: Year, out: Path) -> None:
    """November: a catalogue numbers pins 13 and 14 the other way round; the notes follow."""
    chip = next(load_chip(path) for path in chip_files() if path.stem == CHIP.lower())
    swapped = {13: 14, 14: 13}
    pins = [
        pin.model_copy(update={"number": swapped.get(pin.number, pin.number)}) for pin in chip.pins
    ]
    pins.sort(key=lambda pin: pin.number)
    notes = load_all_notes(open_shop(year.desk["east"].folder), [])
    build_from_chips([chip.model_copy(update={"pins": tuple(pins)})], out, notes=notes)
    with open_folio(out) as folio:
        assert {note.at for note in folio.notes(CHIP)} == {"pin 14"}
        assert {note.text for note in folio.notes(CHIP)} >= {"R712 carries mains."}


def play_january_again(year: Year, january: list[Path]) -> None:
    """December: all computers hold the same, and no old bundle changes that."""
    before = [computer.list_notes().keys() for computer in year.computers]
    assert all(ids == before[0] for ids in before)
    for computer in year.computers:
        states = json.loads(computer.run("shops", "--json").stdout)
        for bundle in january:
            computer.merge(bundle, is_refused=None)
        assert json.loads(computer.run("shops", "--json").stdout) == states
    assert [computer.list_notes().keys() for computer in year.computers] == before
    listed = json.loads(year.desk["south"].run("shop", "device", "--json").stdout)["keys"]
    assert {key["name"]: key["state"] for key in listed}["laptop"] == "revoked"


def import_the_old_book(year: Year, book: Path) -> None:
    """New Year's Eve: north types its old repair book into a table, and imports it on both
    computers. Both make the same notes; everybody has each once, and they count as one shop's.
    """
    rows = ["IC;Pin;State;DC;Job;Date;Shelf"]
    rows += [
        f"{CHIP};{PIN};no signal;3,{n % 90:02d};B{n};2020-01-{n % 28 + 1:02d};A"
        for n in range(2_000)
    ]
    rows.append(f"{CHIP};99;no signal;3,1;B9999;2020-01-01;A")
    book.write_text("\n".join(rows), encoding="utf-8")
    desk, laptop = year.desk["north"], year.laptop["north"]
    words = ("note", "import", book, "--map", "skip=Shelf", "--yes")
    taken = desk.run(*words, is_refused=True)
    assert "2000 new notes; 1 not taken" in taken.stdout
    assert f"{book}:2002: not taken: no pin '99'" in taken.stderr
    assert "2000 new notes" in laptop.run(*words, is_refused=True).stdout
    before, shops = len(desk.list_notes()), count_observed_shops(year.desk["east"])
    news = desk.share()
    for computer in (laptop, year.desk["east"], year.laptop["east"], year.desk["south"]):
        computer.merge(news)
        assert len(computer.list_notes()) == before
    assert "0 new notes; 2000 here already" in desk.run(*words, is_refused=True).stdout
    assert count_observed_shops(year.desk["east"]) == shops
