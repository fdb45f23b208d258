"""Work shared among processes: the same results in the same order as without them."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from pinfolio.loaders.system.parallel import WorkersLostError, map_in_order

ITEMS = 400  # several batches for each worker, beyond those computed while the workers start


def square(number: int) -> int:
    return number * number


def refuse_odd(number: int) -> int:
    if number == ITEMS - 1:
        raise ValueError(f"{number} is odd")
    return number


def end_process(number: int) -> int:
    if number == ITEMS - 1:
        os._exit(1)
    return number


@pytest.mark.parametrize("processes", [1, 2, 3])
def test_results_keep_the_order_of_the_items(processes: int) -> None:
    expected = [(n, n * n) for n in range(ITEMS)]
    assert list(map_in_order(square, range(ITEMS), processes)) == expected


def test_an_error_of_the_work_is_raised_here() -> None:
    with pytest.raises(ValueError, match="399 is odd"):
        list(map_in_order(refuse_odd, range(ITEMS), 2))


def test_a_killed_worker_is_reported() -> None:
    with pytest.raises(WorkersLostError):
        list(map_in_order(end_process, range(ITEMS), 2))


def test_items_are_read_only_slightly_ahead() -> None:
    taken: list[int] = []

    def take_numbers() -> Iterator[int]:
        for number in range(100_000):
            taken.append(number)
            yield number

    results = map_in_order(square, take_numbers(), 2)
    assert next(results) == (0, 0)
    results.close()  # type: ignore[attr-defined]
    assert len(taken) < 1000


def test_light_items_are_computed_here() -> None:
    results = map_in_order(os.path.basename, ["a/b"] * ITEMS, 2, is_light=lambda item: True)
    assert {result for _, result in results} == {"b"}
