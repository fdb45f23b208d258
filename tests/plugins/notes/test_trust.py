"""Trusted, known and muted shops: whose readings and faults count, and with what weight."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.folio.folio import open_folio
from pinfolio.loaders.shop.bundle_reading import read_bundle
from pinfolio.loaders.shop.bundle_writing import select_notes_to_share, write_bundle
from pinfolio.loaders.shop.known_shops import State, set_state
from pinfolio.loaders.shop.merging import apply_plan, plan_merge
from pinfolio.loaders.shop.note_files import add_note, draw_note_id, load_all_notes
from pinfolio.loaders.shop.shop_folder import Shop, init_shop, open_shop
from pinfolio.plugins.notes.past_faults import collect_past_faults, weigh_sets
from pinfolio.plugins.readings.observed_range import compute_observed_ranges
from pinfolio.plugins.terminal.cli import main
from pinfolio.schema.note import UNCOMPARED, Note

SHOPS = ("bench-a", "bench-b", "bench-c")


def make_note(shop: str, **fields: Any) -> Note:
    whole = {
        "id": draw_note_id(),
        "kind": "known-good reading",
        "shop": shop,
        "author": shop,
        "date": "2026-11-25",
        "chip": "TQZ5752",
        "at": "pin 13",
        "condition": "colour bars",
    }
    return Note.model_validate(whole | fields)


@pytest.fixture
def receiving(tmp_path: Path) -> Shop:
    """A shop that merged readings and a fault of three others, whose keys nobody compared."""
    receiving = init_shop(tmp_path / "receiving", "bench-z")
    for number, handle in enumerate(SHOPS):
        sender = init_shop(tmp_path / handle, handle)
        for dc in ("3.1 V", "3.2 V"):
            readings = {"dc": dc}
            add_note(sender, make_note(handle, readings=readings, set_name=f"{handle} {dc}"))
        fault = {"symptom": "no picture", "cure": "New C302.", "part": "C302", "proof": "Measured."}
        add_note(sender, make_note(handle, kind="fault and remedy", failure="open", **fault))
        path = tmp_path / f"{number}.bundle"
        write_bundle(sender, select_notes_to_share(sender), path)
        apply_plan(plan_merge(receiving, [read_bundle(path)]), accept_new=True)
    return receiving


def set_states(shop: Shop, state: State, *handles: str) -> None:
    for handle in handles:
        set_state(shop, handle, state)


def test_known_shops_count_together_as_one(receiving: Shop) -> None:
    observed = compute_observed_ranges(load_all_notes(receiving), "colour bars")["dc"]
    assert (observed.shops, observed.low, len(observed.kept)) == (1, None, 6)
    assert observed.provenance_words.endswith(f"1 shop; {UNCOMPARED} count as one")


def test_trusted_shops_count_one_by_one(receiving: Shop) -> None:
    set_states(receiving, "trusted", *SHOPS)
    observed = compute_observed_ranges(load_all_notes(receiving), "colour bars")["dc"]
    assert observed.shops == 3
    assert observed.low is not None
    assert UNCOMPARED not in observed.provenance_words


def test_one_trusted_and_two_known_are_two(receiving: Shop) -> None:
    set_states(receiving, "trusted", SHOPS[0])
    assert compute_observed_ranges(load_all_notes(receiving), "colour bars")["dc"].shops == 2


def test_no_number_of_known_shops_outweighs_one(receiving: Shop) -> None:
    """Three faults of known shops weigh as the most of one shop, of trusted ones as of three."""
    weigh = {"here": 1.0, "elsewhere": 0.5, "most_of_a_shop": 1.0}
    known = collect_past_faults(load_all_notes(receiving))
    assert sum(weigh_sets(known, None, **weigh)) == pytest.approx(1.0)
    set_states(receiving, "trusted", *SHOPS)
    trusted = collect_past_faults(load_all_notes(receiving))
    assert sum(weigh_sets(trusted, None, **weigh)) == pytest.approx(3.0)


def test_a_muted_shops_notes_are_kept_and_not_shown(receiving: Shop) -> None:
    path = receiving.received / SHOPS[0] / "notes.jsonl"
    before = path.read_bytes()
    set_states(receiving, "muted", SHOPS[0])
    assert {note.shop for note in load_all_notes(receiving)} == set(SHOPS[1:])
    assert path.read_bytes() == before
    set_states(receiving, "trusted", SHOPS[0])
    assert {note.shop for note in load_all_notes(receiving)} == set(SHOPS)


def test_a_folio_keeps_who_was_compared(receiving: Shop, tmp_path: Path) -> None:
    set_states(receiving, "trusted", SHOPS[0])
    chip = next(path for path in chip_files() if "tqz5752" in path.name)
    build_folio([chip, receiving.folder], tmp_path / "x.db")
    with open_folio(tmp_path / "x.db") as folio:
        voices = {note.shop: note.voice for note in folio.notes("TQZ5752")}
        assert {n.voice for n in folio.latest_notes()} == {SHOPS[0], UNCOMPARED}
    assert voices == {SHOPS[0]: SHOPS[0], SHOPS[1]: UNCOMPARED, SHOPS[2]: UNCOMPARED}


def test_in_a_folio_a_shops_own_folder_speaks_for_it(receiving: Shop, tmp_path: Path) -> None:
    chip = next(path for path in chip_files() if "tqz5752" in path.name)
    sources = [chip, receiving.folder, *(tmp_path / handle for handle in SHOPS)]
    build_folio(sources, tmp_path / "x.db")
    with open_folio(tmp_path / "x.db") as folio:
        assert {note.voice for note in folio.notes("TQZ5752")} == set(SHOPS)


class TestEdits:
    @pytest.fixture
    def proposed(self, receiving: Shop, tmp_path: Path) -> Note:
        """An edit, by a shop whose key nobody compared, of a caution of the receiving shop."""
        own = make_note("bench-z", kind="caution", text="R712 carries mains.")
        add_note(receiving, own)
        sender = open_shop(tmp_path / SHOPS[0])
        edit = make_note(
            SHOPS[0], id=own.id, kind="caution", text="Safe to touch.", follows=[own.digest]
        )
        add_note(sender, edit)
        write_bundle(sender, select_notes_to_share(sender), tmp_path / "edit.bundle")
        apply_plan(plan_merge(receiving, [read_bundle(tmp_path / "edit.bundle")]))
        return edit

    @pytest.mark.parametrize(("state", "is_asked"), [("known", True), ("trusted", False)])
    def test_the_edit_of_a_shop_that_is_not_trusted_is_asked_about(
        self, proposed: Note, receiving: Shop, state: State, is_asked: bool
    ) -> None:
        set_states(receiving, state, SHOPS[0])
        words = ["note", "edit", proposed.id, "--keep", proposed.digest[:8]]
        refused = CliRunner().invoke(main, [*words, "--shop", str(receiving.folder)], input="n\n")
        assert ("The key of bench-a was not compared" in refused.stderr) == is_asked
        assert refused.exit_code == (1 if is_asked else 0)

    def test_it_is_shown_with_that_reserve(self, proposed: Note, receiving: Shop) -> None:
        words = ["note", "show", proposed.id, "--shop", str(receiving.folder)]
        assert "Its key was not compared. Compare it by telephone" in (
            CliRunner().invoke(main, words).stdout
        )
        set_states(receiving, "trusted", SHOPS[0])
        assert "Its key was not compared." not in CliRunner().invoke(main, words).stdout
