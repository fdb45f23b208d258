"""How well a text answers a query: by the terms it has, and the words they leave over."""

from __future__ import annotations

import pytest
from pinfolio.plugins.search.closeness import explain_relevance, score_relevance

BURST_KEY = [["burst"], ["key", "gate"]]


@pytest.mark.parametrize(
    ("text", "score"),
    [
        ("burst key", 0.9),  # just the words typed
        ("burst gate", 0.4 + 0.5 * 1.9 / 2),  # a synonym counts nine tenths
        ("burst key pulse output", 0.4 + 0.5 * 2 / 4),  # half of its words answer
        ("burst", 0.4 + 0.5 * 1 / 2),  # half of the terms
        ("sync output", 0.4),
    ],
)
def test_terms_found_times_words_covered(text: str, score: float) -> None:
    assert score_relevance(BURST_KEY, [text]) == pytest.approx(score)


def test_the_best_field_counts() -> None:
    assert score_relevance(BURST_KEY, ["sync output", "burst key"]) == pytest.approx(0.9)
    assert score_relevance(BURST_KEY, []) == 0.4


def test_a_phrase_must_occur_word_for_word() -> None:
    phrase = [['"burst key"']]
    assert score_relevance(phrase, ["burst key"]) == pytest.approx(0.9)
    assert score_relevance(phrase, ["key burst"]) == 0.4


def test_the_reason_names_field_wording_and_term() -> None:
    texts = {"symbol": "BG OUT", "function": "burst gate output"}
    assert explain_relevance(BURST_KEY, texts) == "function: burst; function: gate (= key)"
    assert explain_relevance([["BURST"]], texts) == "function: BURST"
    assert explain_relevance([["sync"]], texts) == "words"
