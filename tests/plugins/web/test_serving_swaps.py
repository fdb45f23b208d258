"""A folio that is replaced while it is served: every answer is whole, of one version, and there."""

from __future__ import annotations

import asyncio
import gc
import itertools
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import httpx
import pytest
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.schema import Chip

PARTS = [f"QZ{number}" for number in range(5700, 5706)]
PAGES = [
    "chip/QZ5701",
    "chip/QZ5702/3",
    "chip/QZ5703/3.json",
    "find?q=QZ5704",
    "find.json?q=edition",
]
TABLES = ["folio/chip.json?_shape=array", "folio/pin?_size=100"]


def make_chip(part: str, edition: int) -> Chip:
    """A chip that says in many places which edition it is of."""
    mark = f"edition-{edition}-"
    roles = {8: "supply", 4: "ground"}
    pins = [
        {"number": n, "symbol": f"P{n}", "function": mark, "role": roles.get(n, "output")}
        for n in range(1, 9)
    ]
    return Chip.model_validate(
        {
            "part": part,
            "maker": f"{mark} works",
            "kind": "jungle",
            "summary": f"Invented for {mark} tests.",
            "invented": True,
            "package": {"family": "DIP", "pins": 8},
            "supplies": [{"name": "VCC", "pins": [8], "voltage": "9 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": f"{mark} sheet"}],
            "conditions": [{"name": "no signal", "means": mark}],
            "pins": pins,
        }
    )


@pytest.fixture(scope="session")
def editions(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A few folios of the same chips, to be put in each other's place."""
    folder = tmp_path_factory.mktemp("editions")
    paths = [folder / f"{edition}.db" for edition in range(4)]
    for edition, path in enumerate(paths):
        build_from_chips([make_chip(part, edition) for part in PARTS], path)
    return paths


Put = Callable[[int], None]


@pytest.fixture
def folio(tmp_path: Path) -> Path:
    return tmp_path / "folio.db"


@pytest.fixture
def put(editions: list[Path], folio: Path) -> Put:
    """Rename a copy of an edition into the place that is served, as a build does."""

    def in_place(number: int) -> None:
        new = folio.with_name("new")
        shutil.copyfile(editions[number % len(editions)], new)
        new.replace(folio)

    in_place(0)
    return in_place


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
async def newest(folio: Path, put: Put, told: list[str]) -> AsyncIterator[NewestFolio]:
    async with NewestFolio(folio, told.append, look_every_s=3600) as served:
        yield served


def make_browser(app: NewestFolio) -> httpx.AsyncClient:
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://localhost/")


def list_editions(answer: httpx.Response) -> set[str]:
    """Of which editions an answer speaks; fails unless it came."""
    assert answer.status_code == 200, answer.text
    return set(re.findall(r"edition-(\d+)-", answer.text))


async def test_the_next_visit_sees_the_new_folio(newest: NewestFolio, put: Put) -> None:
    async with make_browser(newest) as visitor:
        for edition in (1, 2, 3, 0):
            put(edition)
            await newest.look()
            for page in [*PAGES, *TABLES]:
                assert list_editions(await visitor.get(page)) <= {str(edition)}, page
            assert list_editions(await visitor.get(PAGES[0])) == {str(edition)}


async def test_editions_share_templates_and_add_none(newest: NewestFolio, put: Put) -> None:
    templates = newest._edition.datasette.jinja_env.loader
    for edition in (1, 2, 3):
        put(edition)
        await newest.look()
    assert newest._edition.datasette.jinja_env.loader is templates


async def test_what_began_on_the_old_folio_ends_on_it(newest: NewestFolio, put: Put) -> None:
    old = newest._edition
    with old.answering() as app:
        put(1)
        await newest.look()
        async with make_browser(app) as late, make_browser(newest) as new:  # type: ignore[arg-type]
            for page in PAGES[:3] + TABLES:
                assert list_editions(await late.get(page)) == {"0"}
                assert list_editions(await new.get(page)) == {"1"}


async def test_many_swaps_leave_no_file_and_no_thread_behind(newest: NewestFolio, put: Put) -> None:
    async def swap(times: range) -> tuple[int, int]:
        async with make_browser(newest) as visitor:
            for edition in times:
                put(edition)
                await newest.look()
                for page in (PAGES[1], TABLES[0]):
                    assert list_editions(await visitor.get(page)) == {str(edition % 4)}
        for _ in range(200):  # what was replaced closes beside, soon
            if sum(thread.name.startswith("ThreadPool") for thread in threading.enumerate()) <= 3:
                break
            await asyncio.sleep(0.05)
        gc.collect()
        return len(list(Path("/proc/self/fd").iterdir())), threading.active_count()

    before = await swap(range(1, 11))
    after = await swap(range(11, 61))
    assert after[0] < before[0] + 10
    assert after[1] < before[1] + 10  # the event loop's own threads come as they are needed


DAMAGE: list[Callable[[bytes], bytes]] = [
    lambda data: data[: len(data) // 2],
    lambda data: data[:5000] + bytes([data[5000] ^ 1]) + data[5001:],
    lambda data: b"",
    lambda data: b"not a folio at all" * 1000,
]


@pytest.mark.parametrize("damaged", DAMAGE)
async def test_a_damaged_folio_is_refused_once_and_the_old_one_stays(
    newest: NewestFolio,
    put: Put,
    folio: Path,
    told: list[str],
    damaged: Callable[[bytes], bytes],
) -> None:
    new = folio.with_name("damaged")
    new.write_bytes(damaged(folio.read_bytes()))
    new.replace(folio)
    assert not await newest.look()
    assert not await newest.look()
    (line,) = told
    assert line.startswith(f"Not taken up: {folio}:")
    assert "build" in line
    async with make_browser(newest) as visitor:
        assert list_editions(await visitor.get(PAGES[0])) == {"0"}
        put(2)
        assert await newest.look()
        assert list_editions(await visitor.get(PAGES[0])) == {"2"}


async def test_a_folio_that_is_gone_goes_on_being_shown(
    newest: NewestFolio, put: Put, folio: Path, told: list[str]
) -> None:
    folio.unlink()
    for _ in range(3):
        assert not await newest.look()
    assert told == [f"{folio}: No such file or directory. The folio goes on being shown."]
    async with make_browser(newest) as visitor:
        assert [list_editions(await visitor.get(page)) for page in PAGES[:3]] == [{"0"}] * 3


async def test_a_file_written_over_gives_a_pause_and_no_wrong_page(
    newest: NewestFolio, editions: list[Path], folio: Path
) -> None:
    folio.write_bytes(editions[3].read_bytes())  # into the open file, not beside it
    async with make_browser(newest) as visitor:
        pause = await visitor.get(PAGES[0])
        assert pause.status_code == 503
        assert "written over" in pause.text
        assert await newest.look()
        assert list_editions(await visitor.get(PAGES[0])) == {"3"}


@pytest.fixture
def served(folio: Path, put: Put) -> Iterator[str]:
    """``pinfolio serve`` as a process of its own; its address."""
    command = [sys.executable, "-c", "from pinfolio.plugins.terminal.cli import main; main()"]
    process = subprocess.Popen(
        [*command, "serve", str(folio), "--port", "0"], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    (address,) = re.findall(r"Open (http\S+) in a browser", process.stdout.readline())
    yield address
    process.send_signal(signal.SIGINT)
    assert process.wait(20) == 0


async def test_thirty_two_readers_while_the_folio_is_replaced_again_and_again(
    served: str, put: Put
) -> None:
    seen: set[str] = set()
    stop = asyncio.Event()

    async def read(number: int) -> None:
        async with httpx.AsyncClient(base_url=served, timeout=120) as visitor:
            for turn in itertools.count(number):
                page = [*PAGES, *TABLES][turn % len([*PAGES, *TABLES])]
                answer = await visitor.get(page)
                # The process of the tables gives way to all others: on a busy machine it says so.
                while page in TABLES and answer.status_code == 503:
                    assert "again in a moment" in answer.text
                    answer = await visitor.get(page)
                editions = list_editions(answer)
                assert len(editions) <= 1, (page, editions)
                seen.update(editions)
                if stop.is_set():
                    return

    async def until_it_is_seen(edition: int) -> None:
        while str(edition % 4) not in seen:
            await asyncio.sleep(0.02)

    async with asyncio.timeout(240), asyncio.TaskGroup() as readers:
        for number in range(32):
            readers.create_task(read(number))
        for edition in range(1, 7):
            seen.clear()
            for hasty in (edition + 1, edition + 2, edition):  # two that are replaced at once
                put(hasty)
                await asyncio.sleep(0.05)
            await until_it_is_seen(edition)
        stop.set()
