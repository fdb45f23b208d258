"""kill -9 at random instants of a build, a fetch and a swap: the old folio whole, or the new one.

A killed process cleans nothing up. The files it leaves beside the folio must not disturb the next
process, which removes them.
"""

from __future__ import annotations

import asyncio
import itertools
from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial
from multiprocessing.context import ForkServerContext
from pathlib import Path

import httpx
import pytest
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.loaders.publishing.download_source import Source
from pinfolio.loaders.publishing.fetching import fetch_folio
from pinfolio.loaders.publishing.published_folder import publish
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.schema import Chip

Kill = Callable[..., None]
Parts = Callable[[Path], list[str]]
Builds = Callable[[], tuple[Sequence[Chip], Path]]


@pytest.fixture
def the_other(folio_path: Path, chips: Sequence[Chip], parts_of_whole: Parts) -> Builds:
    """The chip to build: the one that is not there, so that every build that ends is a change."""

    def other() -> tuple[Sequence[Chip], Path]:
        there = parts_of_whole(folio_path)
        return [chip for chip in chips if [chip.part] != there], folio_path

    return other


def test_a_build_killed_at_any_instant(
    folio_path: Path,
    chips: Sequence[Chip],
    the_other: Builds,
    kill_at_random: Kill,
    parts_of_whole: Parts,
) -> None:
    """Each build writes the other chip, so that its end can be told from its beginning."""
    one, other = ([chip.part] for chip in chips)
    seen: Counter[str] = Counter()

    def check() -> None:
        assert parts_of_whole(folio_path) in (one, other)
        left = [path for path in folio_path.parent.iterdir() if path != folio_path]
        assert len(left) <= 1  # what earlier builds left is gone
        seen["left something"] += len(left)

    def met_the_writing() -> bool:
        return seen["left something"] >= 10

    kill_at_random(build_from_chips, the_other, check, 80, 1, met_the_writing, folio_path.parent)
    build_from_chips(chips, folio_path)
    assert list(folio_path.parent.iterdir()) == [folio_path]


def test_a_fetch_killed_at_any_instant(
    tmp_path: Path, chips: Sequence[Chip], kill_at_random: Kill, parts_of_whole: Parts
) -> None:
    here = tmp_path / "here" / "folio.db"
    here.parent.mkdir()
    sources = itertools.cycle([_publish(tmp_path, chip) for chip in chips])
    fetch_folio(next(sources), here)
    partly = Counter[str]()

    def fetch_the_other() -> tuple[Source, Path]:
        return next(sources), here

    def check() -> None:
        assert parts_of_whole(here) in ([chip.part] for chip in chips)
        partly["left something"] += len(list(here.parent.iterdir())) > 1

    def met_the_writing() -> bool:
        return partly["left something"] >= 1

    fetch = partial(fetch_folio, older=True)
    kill_at_random(fetch, fetch_the_other, check, 50, 2, met_the_writing)
    for source in (next(sources), next(sources)):  # both kinds of leftover go with the next fetches
        fetch_folio(source, here, older=True)
    assert list(here.parent.iterdir()) == [here]


def _publish(folder: Path, chip: Chip) -> Source:
    build_from_chips([chip], folder / f"{chip.part}.db")
    publish(folder / f"{chip.part}.db", folder / chip.part)
    return Source(str(folder / chip.part))


async def test_a_swap_killed_at_any_instant(
    folio_path: Path,
    chips: Sequence[Chip],
    the_other: Builds,
    kill_at_random: Kill,
    parts_of_whole: Parts,
) -> None:
    """Builds are killed under a server, which looks again and again and answers all the while."""
    one, other = (frozenset([chip.part]) for chip in chips)
    answers: list[frozenset[str]] = []

    async with NewestFolio(folio_path) as newest:
        kills = asyncio.create_task(
            asyncio.to_thread(
                kill_at_random,
                build_from_chips,
                the_other,
                lambda: None,
                40,
                3,
                lambda: set(answers) == {one, other},  # swaps did happen
            )
        )
        while not kills.done():
            await newest.look()
            answers.append(await _list_parts_served(newest))
        assert set(answers) <= {one, other}
        await newest.look()
        assert list(await _list_parts_served(newest)) == parts_of_whole(folio_path)
    await kills


async def _list_parts_served(newest: NewestFolio) -> frozenset[str]:
    """The chips the server lists; not to answer is a failure."""
    transport = httpx.ASGITransport(app=newest)
    async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
        answer = await client.get("/folio/chip.json?_shape=array")
    assert answer.status_code == 200
    return frozenset(row["part"] for row in answer.json())


@pytest.mark.parametrize("round_", range(10))
def test_two_builds_at_once_both_succeed(
    round_: int,
    folio_path: Path,
    chips: Sequence[Chip],
    processes: ForkServerContext,
    parts_of_whole: Parts,
) -> None:
    both = [processes.Process(target=build_from_chips, args=([chip], folio_path)) for chip in chips]
    for process in both:
        process.start()
    for process in both:
        process.join()
    assert [process.exitcode for process in both] == [0, 0]
    assert parts_of_whole(folio_path) in ([chip.part] for chip in chips)
    assert list(folio_path.parent.iterdir()) == [folio_path]
