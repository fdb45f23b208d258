"""Serving: a pin card's page against a bare application that does the same work, start-up, readers.

``PINFOLIO_BENCHMARK_SERVED`` says how many chips the catalogue holds that is served; folios of it
are kept between runs.
"""

from __future__ import annotations

import asyncio
import itertools
import os
import re
import signal
import sqlite3
import statistics
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from random import choice
from typing import Any, NamedTuple

import httpx
import pytest
from catalogue import build_catalogue_folio
from jinja2 import Template
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.cards.attached_captures import view_attachments
from pinfolio.plugins.cards.pictures import (
    draw_instrument_picture,
    draw_screen_picture,
    draw_vector_picture,
)
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.plugins.drawing.limit_bar import draw_limit_bar
from pinfolio.plugins.drawing.pin_place import describe_place, draw_pin_place
from pinfolio.plugins.search.marking_lookup import find_chip
from pinfolio.plugins.web import page_context
from pinfolio.plugins.web.headers import App, Message, Receive, Send
from pinfolio.plugins.web.page_context import find_template
from pinfolio.plugins.web.pages.pin_pages import _PinPage
from pinfolio.plugins.web.serving.authentication import Door
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.plugins.web.serving.request_limits import within_limits
from pinfolio.schema.chips.lookup import find_pin

SERVED = int(os.environ.get("PINFOLIO_BENCHMARK_SERVED", "1000"))
ROUNDS = 60
READERS, SECONDS = 32, 5.0
PAGE = "/chip/TQZ5752/13"


async def visit(app: App, address: str) -> bytes:
    """The body of a page, asked for without a socket."""
    path, _, query = address.partition("?")
    body = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        body.append(message.get("body", b""))

    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(),
        "query_string": query.encode(), "headers": [(b"host", b"localhost")], "scheme": "http",
        "http_version": "1.1", "client": ("127.0.0.1", 50000),
    }  # fmt: skip
    await app(scope, receive, send)
    return b"".join(body)


async def make_context(newest: NewestFolio, page: str) -> tuple[Template, dict[str, Any]]:
    """The template of a page of ours, and its values."""
    taken: list[tuple[Template, dict[str, Any]]] = []

    class Taken(NamedTuple):
        template: Template

        def render(self, context: dict[str, Any]) -> str:
            taken.append((self.template, context))
            return self.template.render(context)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(page_context, "find_template", lambda *of: Taken(find_template(*of)))
        await visit(newest, page)
    return taken[0]


def make_bare_app(path: Path, page: Template, context: dict[str, Any]) -> App:
    """An ASGI application with one page: the query, drawings and template of the pin card."""
    threads = ThreadPoolExecutor(1)
    connection = sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True, check_same_thread=False)

    def drawn() -> dict[str, Any]:
        folio = Folio(connection)
        chip = find_chip(folio, "TQZ5752")
        at = find_pin(chip, "13")
        notes = folio.notes(chip.part)
        card = build_pin_card(chip, at, None, None, notes, folio.proposals(notes))
        sides = ("top", "solder")
        made = _PinPage(
            card,
            draw_screen_picture(card),
            draw_instrument_picture(card),
            draw_vector_picture(card),
            tuple((figure, None, draw_limit_bar(figure.limits)) for figure in card.shown.figures),
            None,
            (),
            "",
            tuple(draw_pin_place(chip, at.number, side) for side in sides),
            tuple(describe_place(chip, at.number, side) for side in sides),
            view_attachments(folio, card.notes),
        )
        return {"drawn": made, "card": card, "chip": chip, "attached": made.attached}

    async def app(scope: Message, receive: Receive, send: Send) -> None:
        made = await asyncio.get_running_loop().run_in_executor(threads, drawn)
        body = page.render({**context, **made})
        headers = [(b"content-type", b"text/html; charset=utf-8")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body.encode()})

    return app


async def run_in_turn(*works: Callable[[], Awaitable[object]]) -> list[float]:
    """Median seconds of each work; they take turns, so that other load meets them all."""
    taken: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, seconds in zip(works, taken, strict=True):
            start = time.perf_counter()
            await work()
            seconds.append(time.perf_counter() - start)
    return [statistics.median(seconds) for seconds in taken]


async def test_pin_card_page(tmp_path: Path, report: Callable[..., None]) -> None:
    path = tmp_path / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    async with NewestFolio(path) as newest:
        app = Door(within_limits(newest))
        plain = make_bare_app(path, *await make_context(newest, PAGE))
        ours_body, plain_body = await visit(app, PAGE), await visit(plain, PAGE)
        assert len(plain_body) == pytest.approx(len(ours_body), rel=0.02)
        ours, bare_s = await run_in_turn(lambda: visit(app, PAGE), lambda: visit(plain, PAGE))
    report("pin card page, against a bare application", ours, bare_s)


HUNT = "/chip/{}/fault-finding?symptom={}"
STEPS = [HUNT.format("KYE4728", "no+colour"), HUNT.format("TQZ5752", "picture+rolls")]
READ = ("&at=15&dc=ok", "&at=4&freq=jumping", "&at=12&dc=ok", "&at=9&ripple=ok")


@pytest.mark.parametrize("hunt", STEPS)
async def test_bench_step(tmp_path: Path, report: Callable[..., None], hunt: str) -> None:
    """A step of a hunt, each with other readings, against the pin card."""
    path = tmp_path / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    async with NewestFolio(path) as newest:
        app = Door(within_limits(newest))
        await visit(app, hunt)  # the boards of the chip are simulated once
        number = itertools.count()

        async def step() -> None:
            volts = 1 + next(number) / 1000
            assert b"Read so far" in await visit(app, f"{hunt}{choice(READ)}&at=5&dc={volts}")

        ours, card = await run_in_turn(step, lambda: visit(app, PAGE))
    report(f"a step of the hunt {hunt}, against the pin card", ours, card)


@pytest.fixture(scope="module")
def folio() -> Path:
    return build_catalogue_folio(SERVED)


@pytest.fixture(scope="module")
def parts(folio: Path) -> list[str]:
    with open_folio(folio) as opened:
        rows = opened._connection.execute("SELECT part FROM chip ORDER BY random() LIMIT 500")
        return [part for (part,) in rows]


class Served:
    """``pinfolio serve`` as a process; the time until its first answer is measured."""

    def __init__(self, folio: Path) -> None:
        started = time.perf_counter()
        self.database = folio.stem
        command = [sys.executable, "-c", "from pinfolio.plugins.terminal.cli import main; main()"]
        self.process = subprocess.Popen(
            [*command, "serve", str(folio), "--port", "0"], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        (self.address,) = re.findall(r"Open (http\S+)", self.process.stdout.readline())
        assert httpx.get(self.address).status_code == 200
        self.first_answer_s = time.perf_counter() - started

    def megabytes(self) -> float:
        """Memory it holds (Linux)."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / 1024

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        self.process.wait(30)


@pytest.fixture
def served(folio: Path) -> Iterator[Served]:
    process = Served(folio)
    yield process
    process.stop()


def test_start_up(folio: Path, report: Callable[..., None]) -> None:
    def datasette_alone() -> None:
        subprocess.run([sys.executable, "-c", "import datasette.app, uvicorn"], check=True)

    seconds, plain, megabytes = [], [], []
    for _ in range(3):
        start = time.perf_counter()
        datasette_alone()
        plain.append(time.perf_counter() - start)
        process = Served(folio)
        seconds.append(process.first_answer_s)
        megabytes.append(process.megabytes())
        process.stop()
    report(
        f"serve {SERVED} chips until the first answer, against importing Datasette and uvicorn",
        min(seconds), min(plain), megabytes=max(megabytes),
    )  # fmt: skip


async def test_readers(served: Served, parts: list[str], report: Callable[..., None]) -> None:
    async def each_s(readers: int) -> float:
        """Seconds from one answer to the next, by any of the readers."""
        ends = time.perf_counter() + SECONDS
        answers = [0] * readers

        async def read(number: int) -> None:
            async with httpx.AsyncClient(base_url=served.address, timeout=60) as visitor:
                while time.perf_counter() < ends:
                    part = parts[(number * 7 + answers[number]) % len(parts)]
                    assert (await visitor.get(f"chip/{part}/1")).status_code == 200
                    answers[number] += 1

        async with asyncio.TaskGroup() as group:
            for number in range(readers):
                group.create_task(read(number))
        return SECONDS / sum(answers)

    alone, together = await each_s(1), await each_s(READERS)
    report(
        f"a page when {READERS} read {SERVED} chips, against one reader",
        together, alone, per_second=1 / together, megabytes=served.megabytes(),
    )  # fmt: skip


ATTACKERS = 8
ATTACKS = (
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT zeroblob(100000) FROM n"
    " LIMIT 1000",
    "SELECT * FROM pin a, pin b, pin c",
    "SELECT a.*, b.* FROM pin a, pin b LIMIT 300",
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) FROM n",
)


async def test_readers_beside_attackers(
    served: Served, parts: list[str], report: Callable[..., None]
) -> None:
    async def p95_s(attackers: int) -> float:
        """The time that all but one in twenty answers take, for so many readers and attackers."""
        ends = time.perf_counter() + SECONDS
        times: list[float] = []

        async def read(number: int) -> None:
            async with httpx.AsyncClient(base_url=served.address, timeout=60) as visitor:
                while time.perf_counter() < ends:
                    began = time.perf_counter()
                    part = parts[(number * 7 + len(times)) % len(parts)]
                    assert (await visitor.get(f"chip/{part}/1")).status_code == 200
                    times.append(time.perf_counter() - began)

        async def attack(number: int) -> None:
            async with httpx.AsyncClient(base_url=served.address, timeout=60) as visitor:
                while time.perf_counter() < ends:
                    query = {"sql": ATTACKS[number % len(ATTACKS)]}
                    assert (await visitor.get(served.database, params=query)).status_code < 504

        async with asyncio.TaskGroup() as group:
            for number in range(READERS):
                group.create_task(read(number))
            for number in range(attackers):
                group.create_task(attack(number))
        return sorted(times)[len(times) * 95 // 100]

    alone, beside = await p95_s(0), await p95_s(ATTACKERS)
    report(
        f"p95 of a pin card beside {ATTACKERS} attackers, against {READERS} readers alone",
        beside, alone, megabytes=served.megabytes(),
    )  # fmt: skip
