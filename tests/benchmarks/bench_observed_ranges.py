"""How often observed ranges hold 90 % of all good sets, at a nominal 95 %, and how wide they are.

Readings are drawn from normal populations: unit spread of the sets in a shop, and between shops the
ratio of each column. The range comes from ``summarise_samples``, with its rule for outliers. Width
is the median half width over the standard deviation of the whole population, for which an endless
sample gives 1.64.

Run: pytest tests/benchmarks/bench_observed_ranges.py -s; its table is observed_ranges.txt.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import NormalDist

import numpy as np
from pinfolio.plugins.readings.observed_range import Sample, summarise_samples
from pinfolio.schema.note import Note

RATIOS = (0.0, 0.25, 0.5, 0.75, 1.0)
SAMPLES = 2000
NUMBERS = (5, 8, 10, 15, 20, 30)
SHOPS = (3, 4, 6, 10)


def list_layouts() -> Iterator[tuple[int, ...]]:
    """Yield numbers of readings by shop: even ones, and one shop with all but one of each other."""
    for number in NUMBERS:
        for shops in SHOPS:
            if shops <= number:
                even = tuple(number // shops + (at < number % shops) for at in range(shops))
                yield from dict.fromkeys((even, (number - shops + 1, *[1] * (shops - 1))))


def test_coverage_is_at_least_93_percent_everywhere() -> None:
    notes = [Note.model_construct(shop=f"s{at}", id="", sets=1) for at in range(max(SHOPS))]
    rng, worst = np.random.default_rng(20), 1.0
    print(f"\n{'readings by shop':34}" + "".join(f"   ratio {ratio:4}" for ratio in RATIOS))
    for layout in list_layouts():
        cells = []
        for ratio in RATIOS:
            held, width = measure_layout(rng, layout, ratio, notes)
            worst = min(worst, held)
            cells.append(f"{held:7.1%} {width:5.2f}")
        print(f"{describe_layout(layout):34}" + "".join(cells), flush=True)
    print(f"lowest: {worst:.1%}")
    assert worst >= 0.93


def describe_layout(layout: tuple[int, ...]) -> str:
    """Return a layout in words: ``20 of 6: 15 and 1 each``."""
    numbers = ", ".join(map(str, layout)) if len(layout) < 7 else f"{layout[0]}, ... {layout[-1]}"
    return f"{sum(layout)} of {len(layout)} shops: {numbers}"


def measure_layout(
    rng: np.random.Generator, layout: tuple[int, ...], ratio: float, notes: list[Note]
) -> tuple[float, float]:
    """Return the share of ranges that hold 90 % of the population, and their median half width."""
    whole = NormalDist(0, (1 + ratio**2) ** 0.5)
    held, widths = 0, []
    for _ in range(SAMPLES):
        effects = ratio * rng.standard_normal(len(layout))
        samples = [
            Sample(float(effects[at] + noise), 0.0, notes[at])
            for at, number in enumerate(layout)
            for noise in rng.standard_normal(number)
        ]
        found = summarise_samples("dc", "", samples)
        if found.low is None or found.high is None:
            held += 1  # no range is no wrong range: outliers left fewer than three shops
            continue
        held += whole.cdf(found.high) - whole.cdf(found.low) >= 0.9
        widths.append((found.high - found.low) / 2 / whole.stdev)
    return held / SAMPLES, float(np.median(widths))
