"""Searching a catalogue of PINFOLIO_BENCHMARK_CHIPS: damaged markings against one after another,
words against tantivy, a full-text engine in Rust, on the same data and on one processor.

The measures of recall and calibration go beyond speed: they are reported as well, and fitted the
weights of ``misreading.py`` and ``damaged.py``. For 100,000 chips:

    PINFOLIO_BENCHMARK_CHIPS=100000 pytest tests/benchmarks/bench_search.py
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from catalogue import build_catalogue_folio
from conftest import CHIPS
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio.chip_search import Only
from pinfolio.plugins.search.damaged_marking import guess_chips
from pinfolio.plugins.search.find import find
from pinfolio.plugins.search.marking_tree import MarkingTree
from pinfolio.plugins.search.misreading import explain_misreading, load_look_alikes

tantivy = pytest.importorskip("tantivy", reason="pip install 'pinfolio[benchmarks]'")

Report = Callable[..., None]
Seconds = Callable[..., float]

ASKED = 400
ALL_COMPARED = 6  # how many are compared one after another, which takes seconds for each
COMMON = ["line output", "input filter", "sync input", "oscillator control", "input in"]


@pytest.fixture(scope="module")
def folio() -> Iterator[Folio]:
    with open_folio(build_catalogue_folio(CHIPS)) as opened:
        yield opened


def _damage(key: str, chance: random.Random) -> str:
    """One thing that happens to a marking, as often as common practice has it happen."""
    at = chance.randrange(len(key))
    alike = [pair[1] for pair in load_look_alikes() if pair[0] == key[at]]
    ways = {
        key[:at] + "?" + key[at + 1 :]: 35,
        key[:at] + (chance.choice(alike) if alike else "?") + key[at + 1 :]: 30,
        key[:at] + chance.choice("0123456789ABCDEFGHJKLMNPQRSTUVWXYZ") + key[at + 1 :]: 5,
        key[:-1]: 14,
        key[1:]: 8,
        key[:at] + key[at + 1 :]: 4,
        key[:at] + key[at + 1 : at + 2] + key[at] + key[at + 2 :]: 4,
    }
    return chance.choices(list(ways), list(ways.values()))[0]


@pytest.fixture(scope="module")
def damaged(folio: Folio) -> list[tuple[str, str]]:
    """Parts, and the characters read of them: one fault, and in three of ten a second one."""
    chance = random.Random(1956)
    parts = chance.sample([row.part for row in folio.parts()], min(ASKED, CHIPS))
    once = [(part, _damage(part, chance)) for part in parts]
    return [(part, _damage(t, chance) if chance.random() < 0.3 else t) for part, t in once]


def test_damaged_markings(folio: Folio, damaged: list[tuple[str, str]], report: Report) -> None:
    """p95 against a plain pass over all keys that only takes their length."""
    guess_chips(folio, damaged[0][1])  # makes the tree
    taken, right, first = [], 0, 0
    said: list[tuple[float, bool]] = []
    for part, typed in damaged:
        start = time.perf_counter()
        found = guess_chips(folio, typed, 10)
        taken.append(time.perf_counter() - start)
        parts = [guess.chip.part for guess in found]
        right, first = right + (part in parts), first + (parts[:1] == [part])
        said += [(guess.probability, guess.chip.part == part) for guess in found[:1]]
    keys = folio.list_marking_keys()
    start = time.perf_counter()
    sum(len(key) for key in keys)
    plain = time.perf_counter() - start
    report(
        f"damaged marking among {len(keys):,}, p95",
        statistics.quantiles(taken, n=20)[-1],
        plain,
        median_us=1e6 * statistics.median(taken),
        recall_at_10_percent=100 * right / len(damaged),
        recall_at_1_percent=100 * first / len(damaged),
        first_said_percent=100 * sum(p for p, _ in said) / len(said),
        first_right_percent=100 * sum(r for _, r in said) / len(said),
    )


def test_the_same_ten_as_one_after_another(
    folio: Folio, damaged: list[tuple[str, str]], report: Report
) -> None:
    """The exact answer in plain Python, and how many of its first ten the tree gives."""
    keys = folio.list_marking_keys()
    tree = MarkingTree(keys)
    bearers = folio.find_chips_by_keys(keys)
    ours = plain = 0.0
    shares = []
    for _, typed in damaged[:ALL_COMPARED]:
        start = time.perf_counter()
        every = sorted((explain_misreading(typed, key).cost, key) for key in keys)
        plain += time.perf_counter() - start
        start = time.perf_counter()
        tree.find_nearest(typed, 30, 80)
        ours += time.perf_counter() - start
        within = [key for cost, key in every if cost <= every[0][0] + 80]
        ten = list(dict.fromkeys(m.chip.part for key in within for m in bearers[key]))[:10]
        given = {guess.chip.part for guess in guess_chips(folio, typed, 10)}
        shares.append(len(given.intersection(ten)) / len(ten))
    report(
        "damaged marking, tree against one after another",
        ours / ALL_COMPARED,
        plain / ALL_COMPARED,
        same_of_ten_percent=100 * statistics.mean(shares),
    )


@pytest.fixture(scope="module")
def rival(folio: Folio) -> Callable[[str], list[int]]:
    """Ids of the twenty pins that tantivy ranks first, of those that say every word."""
    schema = tantivy.SchemaBuilder()
    schema.add_text_field("text", stored=False)
    schema.add_unsigned_field("id", stored=True)
    index = tantivy.Index(schema.build())
    writer = index.writer(100_000_000, 1)
    for number, *texts in _open_connection(folio).execute(
        "SELECT id, symbol, function, role, blocks FROM pin"
    ):
        writer.add_document(tantivy.Document(id=number, text=" ".join(texts)))
    writer.commit()
    writer.wait_merging_threads()
    index.reload()
    searcher = index.searcher()

    def ask(words: str) -> list[int]:
        query = index.parse_query(" ".join(f"+{word}" for word in words.split()), ["text"])
        hits = searcher.search(query, 20).hits
        return [searcher.doc(address)["id"][0] for _, address in hits]

    return ask


def _open_connection(folio: Folio) -> Any:
    return folio._connection


@pytest.mark.parametrize("typed", COMMON)
def test_two_common_words(
    typed: str, folio: Folio, rival: Callable[[str], list[int]], report: Report, seconds: Seconds
) -> None:
    terms = [[word] for word in typed.split()]
    assert len(folio.search_pins(terms)) == len(rival(typed)) == 20
    ours = seconds(lambda: folio.search_pins(terms), 5)
    report(f"two common words, {typed!r}", ours, seconds(lambda: rival(typed), 5))


def test_equal_top_results_on_rare_words(
    folio: Folio, rival: Callable[[str], list[int]], report: Report, seconds: Seconds
) -> None:
    """Words on twenty pins or fewer: the same pins, found in the time of one word each."""
    rare = [
        word
        for (word,) in _open_connection(folio).execute(
            "SELECT word FROM word WHERE pins BETWEEN 2 AND 20 AND length(word) > 4"
            " AND NOT EXISTS (SELECT 1 FROM word AS longer WHERE longer.word > word.word"
            " AND longer.word < word.word || char(0x10ffff)) ORDER BY word LIMIT 200"
        )
    ]
    ids = {(row[1], row[2]): row[0] for row in _list_pins(folio)} if rare else {}
    equal = 0
    for word in rare:
        found = {ids[pin.part, pin.number] for pin in folio.search_pins([[word]])}
        equal += found == set(rival(word))
    assert equal == len(rare)
    some = rare[:50]
    report(
        f"{len(rare)} rare words, each the same pins",
        seconds(lambda: [folio.search_pins([[word]]) for word in some]) / len(some),
        seconds(lambda: [rival(word) for word in some]) / len(some),
    )


def _list_pins(folio: Folio) -> Any:
    return _open_connection(folio).execute("SELECT id, chip, number FROM pin")


@pytest.mark.parametrize(
    ("typed", "only"),
    [
        ("line output", Only()),
        ("sync sepa", Only()),
        ("burst key", Only(package="SDIP-52")),
        ("input filter", Only(kind="comb filter", role="input")),
        ("5752", Only()),
    ],
)
def test_the_whole_answer(
    typed: str,
    only: Only,
    folio: Folio,
    rival: Callable[[str], list[int]],
    report: Report,
    seconds: Seconds,
) -> None:
    """All groups of the answer, with other wordings, against tantivy's pins for the bare words."""
    kept = f" kept to {only}" if only else ""
    ours = seconds(lambda: find(folio, typed, only=only), 3)
    report(f"whole answer to {typed!r}{kept}", ours, seconds(lambda: rival(typed), 3))
