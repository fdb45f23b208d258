"""The answer as a document: groups in the order of their best match, scores of three digits."""

from __future__ import annotations

from pinfolio.loaders.folio.chip_search import MARKING_SCORE, ChipRow, PinRow
from pinfolio.loaders.folio.word_search import Shared
from pinfolio.plugins.search.answer import PinMatch, SearchAnswer, SharedMatch
from pinfolio.plugins.search.marking_lookup import MarkingMatch

CHIP = ChipRow("QZ1", "Nobody", "jungle", "Invented for this test.", "DIP-16", 16, True)
PIN = PinRow("QZ1", 3, "BG IN", "burst gate input", "input", "killer")
GATE = SharedMatch(Shared("burst gate", 2, ("QZ1", "QZ2")), 0.61234)


def answer(*pin_scores: float, chip_score: float = 0.45678) -> SearchAnswer:
    return SearchAnswer(
        "gate",
        chips=(MarkingMatch(CHIP, "part of QZ1", chip_score, 0.12345),),
        pins=tuple(PinMatch(PIN, "symbol: gate", score) for score in pin_scores),
        blocks=(GATE,),
    )


def test_the_group_with_the_best_match_comes_first() -> None:
    assert answer(0.3, 0.7).groups == ("pins", "blocks", "chips")
    assert answer(0.3, 0.5).groups == ("blocks", "pins", "chips")
    assert answer(0.45678).groups == ("blocks", "chips", "pins")  # as good: in the usual order
    assert answer().groups == ("blocks", "chips")


def test_chips_that_were_named_precede_everything_on_them() -> None:
    named = SearchAnswer("QZ1 gate", answer().chips, answer(0.9).pins, is_by_marking=True)
    assert named.groups == ("chips", "pins")


def test_only_chips_that_bear_the_marking_are_an_exact_answer() -> None:
    def match(score: float) -> MarkingMatch:
        return MarkingMatch(CHIP, "marking", score, None)

    assert SearchAnswer("QZ1", (match(1.0), match(MARKING_SCORE))).is_exact
    assert not SearchAnswer("QZ1", (match(1.0), match(MARKING_SCORE - 0.01))).is_exact
    assert not SearchAnswer("QZ1", (match(1.0),), answer(0.3).pins).is_exact
    assert not SearchAnswer("QZ1").is_exact


def test_an_answer_without_matches_is_false() -> None:
    assert answer()
    assert not SearchAnswer("gate", nearest=("QZ1",))


def test_scores_and_probabilities_have_three_digits() -> None:
    document = answer(0.98765).document()
    assert document["chips"][0]["score"] == 0.457
    assert document["chips"][0]["probability"] == 0.123
    assert document["pins"][0]["score"] == 0.988
    assert document["blocks"][0] == {
        "name": "burst gate", "chips": 2, "first": ["QZ1", "QZ2"], "score": 0.612,
    }  # fmt: skip
