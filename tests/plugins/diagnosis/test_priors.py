"""The chances before anything is measured: shares of the odds file, and of proved notes alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from made_cloud import Good, Made, make_cloud
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.note_files import load_note
from pinfolio.plugins.diagnosis.weighing.priors import compute_prior, load_usual_odds
from pinfolio.plugins.notes.past_faults import update_shares
from pinfolio.schema.note import Note
from scipy import stats

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
    chances = compute_prior(CHIP, CLOUD, notes=notes)
    rows = zip(CLOUD.hypotheses, chances.tolist(), strict=True)
    shares: dict[str, float] = {}
    for hypothesis, chance in rows:
        shares[hypothesis.what] = shares.get(hypothesis.what, 0.0) + chance
    return shares[what] / shares["P502"]


def note(**fields: Any) -> Note:
    return Note.model_validate(PROVED | fields)


def test_chances_add_up_to_one_and_keep_the_ratios_of_the_odds_file() -> None:
    """C501 is a capacitor (2) and P502 a potentiometer (4), however many ways each can fail."""
    assert compute_prior(CHIP, CLOUD).sum() == pytest.approx(1)
    odds = load_usual_odds()
    assert odds_of("C501") == pytest.approx(
        odds["parts"]["capacitor"] / odds["parts"]["potentiometer"]
    )
    assert odds_of("2") == pytest.approx(odds["pin joint open"] / odds["parts"]["potentiometer"])
    assert odds_of("VCC") == pytest.approx(odds["supply missing"] / odds["parts"]["potentiometer"])
    assert odds_of("sync-separator") == pytest.approx(
        odds["stage dead"] / odds["parts"]["potentiometer"]
    )


def test_the_ways_of_one_part_share_its_odds_by_their_own() -> None:
    chances = compute_prior(CHIP, CLOUD).tolist()
    modes = load_usual_odds()["modes"]
    assert chances[1] / chances[2] == pytest.approx(modes["open"] / modes["leaky"])


def test_the_chances_after_notes_are_the_posterior_computed_by_hand() -> None:
    """C501 leaky in three sets; the odds count as 30 sets.

    Before: C501 open 1, leaky 1 (a capacitor's 2, shared by equal odds), P502 4, joint of pin 2
    0.9; 6.9 in all. After: 6.9 (30 p + n) / 33, which is (30 w + 6.9 n) / 33.
    """
    chances = compute_prior(CHIP, CLOUD, notes=[note(sets=3)])
    odds = load_usual_odds()
    rest = odds["supply missing"] + odds["stage dead"]
    by_hand = [30 / 33, (30 + 20.7) / 33, 120 / 33, 27 / 33]
    whole = sum_all_odds(rest)
    assert chances[1:5].tolist() == pytest.approx([value / whole for value in by_hand])


def sum_all_odds(rest: float) -> float:
    """Return the sum of all odds of the cloud: none, parts and joint, supply and stage."""
    return float(load_usual_odds()["none of these"]) + 6.9 + rest


def test_the_posterior_is_the_mean_of_scipys_dirichlet_distribution() -> None:
    shares, counts = [0.5, 0.3, 0.2], [2.0, 0.0, 5.5]
    expected = stats.dirichlet.mean(10 * np.array(shares) + np.array(counts))
    assert update_shares(shares, counts, 10) == pytest.approx(expected.tolist())


def test_the_way_of_failing_that_was_proved_gains_and_the_other_does_not() -> None:
    before = compute_prior(CHIP, CLOUD)
    after = compute_prior(CHIP, CLOUD, notes=[note(sets=4)])
    assert after[2] > 1.5 * before[2]
    assert after[1] < before[1]


def test_a_way_that_is_not_known_counts_for_each_in_proportion() -> None:
    before = compute_prior(CHIP, CLOUD)
    after = compute_prior(CHIP, CLOUD, notes=[note(failure="Smells odd.", sets=4)])
    assert after[1] / after[2] == pytest.approx(before[1] / before[2])
    assert odds_of("C501", note(failure="Smells odd.")) == pytest.approx(odds_of("C501", note()))


def test_notes_do_not_change_the_chances_of_supplies_stages_and_faults_elsewhere() -> None:
    before, after = compute_prior(CHIP, CLOUD), compute_prior(CHIP, CLOUD, notes=[note(sets=9)])
    assert after[[0, 5, 6]].tolist() == pytest.approx(before[[0, 5, 6]].tolist())


def test_one_shop_counts_as_at_most_eight_sets_and_two_as_twice_that() -> None:
    most = odds_of("C501", note(sets=8))
    assert odds_of("C501", note(sets=60)) == pytest.approx(most)
    more = note(id="bcdefgh234567abc", sets=900)
    assert odds_of("C501", note(sets=5), more) == pytest.approx(most)
    other = more.model_copy(update={"shop": "other"})
    assert odds_of("C501", note(sets=60), other) == pytest.approx(
        odds_of("C501", note(sets=8), note(id="bcdefgh234567abc", shop="other", sets=8))
    )
    assert odds_of("C501", note(sets=60), other) > most


def test_sets_of_another_chassis_count_less() -> None:
    def ratio(chassis: str | None, *notes: Note) -> float:
        chances = compute_prior(CHIP, CLOUD, notes=notes, chassis=chassis)
        return float(chances[2] / chances[3])

    noted = note(sets=2, chassis="Morvane P14")
    before = ratio(None)
    assert ratio("morvane p14", noted) == pytest.approx(ratio(None, noted))
    # 2 sets at 0.3 are 0.6: (30 + 6.9 * 0.6) / (30 * 4), by hand.
    assert ratio("Orrevik M12", noted) == pytest.approx((30 + 6.9 * 0.6) / 120)
    assert before < ratio("Orrevik M12", noted) < ratio("Morvane P14", noted)


def test_a_proved_joint_gains_too() -> None:
    joint = note(part=None, failure="joint of pin 2 VIDEO IN open", proof="soldered again")
    assert odds_of("2", joint) == pytest.approx((0.9 * 30 + 6.9) / (4 * 30))  # by hand


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
    assert odds_of("C501", first, one, two, settled) == pytest.approx(odds_of("C501", note(sets=2)))


def test_of_the_demo_shops_notes_only_the_proved_ones_raise_odds() -> None:
    """Tarnbrook & Niece proved C501 leaky in four sets of this chip, P502 in two.

    By hand: C501 (60 + 6.9 * 4), P502 (120 + 6.9 * 2).
    """
    notes = [one for one in map(load_note, note_files()) if one.chip == CHIP.part]
    assert odds_of("C501", *notes) == pytest.approx((60 + 27.6) / (120 + 13.8))
    unproved = [one.model_copy(update={"proof": None}) for one in notes]
    assert odds_of("C501", *unproved) == pytest.approx(odds_of("C501"))
