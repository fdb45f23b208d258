"""The chances before anything is measured: shares of the odds file, and of proved notes alone."""

from __future__ import annotations

from typing import Any

import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.note_files import load_note
from pinfolio.plugins.diagnosis.weighing.priors import prior_chances, usual_odds
from pinfolio.schema.note import Note

CHIP = load_chip(next(path for path in chip_files() if path.stem == "kye2620"))
FAULTS = [
    Made("part", "C501", "open"),
    Made("part", "C501", "leaky"),
    Made("part", "P502", "open"),
    Made("joint", "2", "open"),
    Made("supply", "VCC", "missing"),
    Made("stage", "sync-separator", "dead"),
]
CLOUD = make_cloud(CHIP.part, "colour bars", {"pin 2": Good(dc=6.0)}, FAULTS)
PROVED: dict[str, Any] = {
    "id": "abcdefgh234567ab", "kind": "fault and remedy", "shop": "bench", "author": "bench",
    "date": "2026-05-01", "chip": "KYE2620", "at": "pin 2", "symptom": "picture tears",
    "part": "C501", "failure": "leaky", "cure": "New C501", "proof": "Out of circuit 40 kΩ.",
}  # fmt: skip


def odds_of(what: str, *notes: Note) -> float:
    """Return the chance of all that is wrong with ``what``, against that of P502."""
    chances = prior_chances(CHIP, CLOUD, notes=notes)
    rows = zip(CLOUD.hypotheses, chances.tolist(), strict=True)
    shares: dict[str, float] = {}
    for hypothesis, chance in rows:
        shares[hypothesis.what] = shares.get(hypothesis.what, 0.0) + chance
    return shares[what] / shares["P502"]


def note(**fields: Any) -> Note:
    return Note.model_validate(PROVED | fields)


def test_chances_add_up_to_one_and_keep_the_ratios_of_the_odds_file() -> None:
    """C501 is a capacitor (2) and P502 a potentiometer (4), however many ways each can fail."""
    assert prior_chances(CHIP, CLOUD).sum() == pytest.approx(1)
    odds = usual_odds()
    assert odds_of("C501") == pytest.approx(
        odds["parts"]["capacitor"] / odds["parts"]["potentiometer"]
    )
    assert odds_of("2") == pytest.approx(odds["pin joint open"] / odds["parts"]["potentiometer"])
    assert odds_of("VCC") == pytest.approx(odds["supply missing"] / odds["parts"]["potentiometer"])
    assert odds_of("sync-separator") == pytest.approx(
        odds["stage dead"] / odds["parts"]["potentiometer"]
    )


def test_the_ways_of_one_part_share_its_odds_by_their_own() -> None:
    chances = prior_chances(CHIP, CLOUD).tolist()
    modes = usual_odds()["modes"]
    assert chances[1] / chances[2] == pytest.approx(modes["open"] / modes["leaky"])


def test_each_set_in_which_a_part_was_proved_bad_adds_its_odds_once_more_up_to_eight_times() -> (
    None
):
    before = odds_of("C501")
    assert odds_of("C501", note()) == pytest.approx(2 * before)
    assert odds_of("C501", note(sets=3)) == pytest.approx(4 * before)
    assert odds_of("C501", note(), note(id="bcdefgh234567abc", sets=2)) == pytest.approx(4 * before)
    assert odds_of("C501", note(sets=60)) == pytest.approx(8 * before)
    assert odds_of("2", note()) == pytest.approx(odds_of("2"))


@pytest.mark.parametrize(
    "changed",
    [{"proof": None}, {"withdrawn": True}, {"part": None}, {"kind": "remark", "text": "C501?"}],
    ids=["not proved", "withdrawn", "no part", "no fault"],
)
def test_a_note_that_proves_no_part_counts_as_nothing(changed: dict[str, Any]) -> None:
    assert odds_of("C501", note(**changed)) == pytest.approx(odds_of("C501"))


def test_notes_in_conflict_say_nothing_until_a_revision_follows_both() -> None:
    first = note()
    one, two = (note(follows=(first.digest,), sets=n) for n in (3, 5))
    assert odds_of("C501", first, one, two) == pytest.approx(odds_of("C501"))
    settled = note(follows=(one.digest, two.digest), sets=2)
    assert odds_of("C501", first, one, two, settled) == pytest.approx(3 * odds_of("C501"))


def test_of_the_demo_shops_notes_only_the_proved_ones_raise_odds() -> None:
    """Tarnbrook & Niece proved C501 in four sets of this chip; P502 in two."""
    notes = [one for one in map(load_note, note_files()) if one.chip == CHIP.part]
    assert odds_of("C501", *notes) == pytest.approx(5 / 3 * odds_of("C501"))
    unproved = [one.model_copy(update={"proof": None}) for one in notes]
    assert odds_of("C501", *unproved) == pytest.approx(odds_of("C501"))
