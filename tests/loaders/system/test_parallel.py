"""Work shared among processes: the same results in the same order as without them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import partial
from operator import call, neg

import pytest
from pinfolio.loaders.system.parallel import WorkersLostError, map_in_order

ITEMS = 400  # several batches for each worker, beyond those computed while the workers start


@pytest.mark.parametrize("processes", [1, 2, 3])
def test_results_keep_the_order_of_the_items(processes: int) -> None:
    expected = [(n, -n) for n in range(ITEMS)]
    assert list(map_in_order(neg, range(ITEMS), processes)) == expected


def test_an_error_of_the_work_is_raised_here() -> None:
    with pytest.raises(ValueError, match="invalid literal for int"):
        list(map_in_order(int, [*map(str, range(ITEMS)), "seven"], 2))


def test_a_killed_worker_is_reported() -> None:
    with pytest.raises(WorkersLostError):
        list(map_in_order(call, [*[partial(int, "7")] * ITEMS, partial(os._exit, 1)], 2))


def test_items_are_read_only_slightly_ahead() -> None:
    taken: list[int] = []

    def take_numbers() -> Iterator[int]:
        for number in range(100_000):
            taken.append(number)
            yield number

    results = map_in_order(neg, take_numbers(), 2)
    assert next(results) == (0, 0)
    results.close()  # type: ignore[attr-defined]
    assert len(taken) < 1000


def test_light_items_are_computed_here() -> None:
    results = map_in_order(os.path.basename, ["a/b"] * ITEMS, 2, is_light=lambda item: True)
    assert {result for _, result in results} == {"b"}
