"""Datasette's own pages take turns, and end in time; our pages do not wait for them."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest
from pinfolio.plugins.web.headers import Message, Receive, Send
from pinfolio.plugins.web.serving import data_pages
from pinfolio.plugins.web.serving.data_pages import IS_DATA_PAGE, bound_data_pages


class Slow:
    """An application that answers after some time, and counts how many answers are under way."""

    def __init__(self, pause_s: float, begins: bool = False) -> None:
        self.pause_s, self.begins, self.now, self.most = pause_s, begins, 0, 0

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        self.now += 1
        self.most = max(self.most, self.now)
        start = {"type": "http.response.start", "status": 200, "headers": []}
        try:
            if self.begins:
                await send(start)
            await asyncio.sleep(self.pause_s)
            if not self.begins:
                await send(start)
            body = b"data" if IS_DATA_PAGE.get() else b"ours"
            await send({"type": "http.response.body", "body": body})
        finally:
            self.now -= 1


async def get_answers(app: Slow, *paths: str) -> list[httpx.Response]:
    transport = httpx.ASGITransport(app=bound_data_pages(app))
    async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
        return list(await asyncio.gather(*(client.get(path) for path in paths)))


@pytest.mark.parametrize("path", ["/demo", "/demo.json?sql=x", "/demo/pin/1", "/chips"])
async def test_data_pages_take_turns(path: str) -> None:
    app = Slow(0.01)
    assert [answer.text for answer in await get_answers(app, *[path] * 5)] == ["data"] * 5
    assert app.most == 1


@pytest.mark.parametrize("path", ["/", "/chip/QZ1", "/find.json?q=a", "/-/static/app.css"])
async def test_our_pages_do_not(path: str) -> None:
    app = Slow(0.05)
    assert [answer.text for answer in await get_answers(app, *[path] * 5)] == ["ours"] * 5
    assert app.most == 5


async def test_one_that_takes_too_long_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(data_pages, "ANSWER_S", 0.05)
    (answer,) = await get_answers(Slow(5), "/demo")
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "10")
    assert "Ask for less" in answer.text


async def test_an_answer_under_way_is_cut_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(data_pages, "ANSWER_S", 0.05)
    sent: list[Any] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request"}

    scope = {"type": "http", "path": "/demo.csv"}
    await bound_data_pages(Slow(5, begins=True))(scope, receive, send)
    assert [message["type"] for message in sent] == ["http.response.start"]
