"""Limits of requests: long addresses, huge searches, endless statements, unending visitors."""

from __future__ import annotations

import socket
import threading
import time
from contextlib import suppress

import httpx
import pytest
from datasette.app import Datasette
from pinfolio.plugins.web.headers import EVERYWHERE, STRICT_POLICY
from pinfolio.plugins.web.serving import timeouts as patience
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.plugins.web.serving.request_limits import within_limits
from pinfolio.plugins.web.serving.server import listen, serve


def make_limited_client(site: Datasette) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app=within_limits(site.app()))
    return httpx.AsyncClient(transport=transport, base_url="http://localhost/")


@pytest.mark.parametrize(
    ("address", "status", "said"),
    [
        ("/" + "x" * 9000, 414, "at most 8000 are read"),
        ("/find?q=5752&more=" + "x" * 9000, 414, "at most 8000 are read"),
        ("/find?q=" + "x" * 301, 400, "Found 301 characters, at most 300 are looked for"),
        ("/find.json?kind=a&q=" + "%C2%B5" * 301, 400, "Found 301 characters"),
        ("/find?" + "&".join(f"a{n}=1" for n in range(500)), 400, "At most 200 fields"),
    ],
)
async def test_too_much_gets_a_plain_page(
    site: Datasette, address: str, status: int, said: str
) -> None:
    async with make_limited_client(site) as visitor:
        answer = await visitor.get(address)
    assert answer.status_code == status
    assert said in answer.text
    assert answer.headers["content-security-policy"] == STRICT_POLICY


async def test_as_much_as_the_box_takes_is_looked_for(site: Datasette) -> None:
    async with make_limited_client(site) as visitor:
        assert (await visitor.get("/find?q=" + "x" * 300)).status_code == 200


async def test_what_was_chosen_reaches_the_pages_and_other_cookies_do_not(site: Datasette) -> None:
    own = "pinfolio-look=dim; pinfolio-instruments=probe=x1+probe&counter=counter"
    for sent in (own, f"other=1; {own}; ds_actor=forged", f'a\\"b={"x" * 50};{own};=;;'):
        async with make_limited_client(site) as visitor:
            html = (await visitor.get("/chip/TQZ5752/46", headers={"cookie": sent})).text
        assert '<html lang="en" data-look="dim">' in html
        assert "With digital meter, x1 probe, analogue 20 MHz, counter." in html


@pytest.mark.parametrize(
    "sent",
    [b"\xff\xfe=\x00", b"pinfolio-look=\xff", b'pinfolio-look="\\777"', b"a;\xc3=pinfolio-look"],
)
async def test_a_cookie_that_cannot_be_read_is_passed_over(site: Datasette, sent: bytes) -> None:
    async with make_limited_client(site) as visitor:
        answer = await visitor.get("/chip/TQZ5752/46", headers=[(b"cookie", sent)])
    assert (answer.status_code, "data-look" in answer.text) == (200, False)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
async def test_nothing_but_reading(site: Datasette, method: str) -> None:
    async with make_limited_client(site) as visitor:
        answer = await visitor.request(method, "/find?q=5752", content=b"q=x")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD"


def make_site_headers(site: str, mode: str = "no-cors", dest: str = "image") -> dict[str, str]:
    """The fields that a browser sends with a request that a page made."""
    return {"sec-fetch-site": site, "sec-fetch-mode": mode, "sec-fetch-dest": dest}


LINK = make_site_headers("cross-site", "navigate", "document")


@pytest.mark.parametrize(
    ("address", "fields", "status"),
    [
        ("/find?q=5752", {}, 200),
        ("/find?q=5752", make_site_headers("same-origin"), 200),
        ("/find?q=5752", make_site_headers("none", "navigate", "document"), 200),
        ("/find?q=5752", LINK, 200),
        ("/find?q=5752", make_site_headers("cross-site"), 403),
        ("/find?q=5752", make_site_headers("same-site", "cors", "empty"), 403),
        ("/find?q=5752", make_site_headers("cross-site", "navigate", "iframe"), 403),
        ("/demo.json?sql=select+1", make_site_headers("cross-site"), 403),
        ("/demo?sql=select+1", LINK, 403),
        ("/demo/pin?_where=1", LINK, 403),
        ("/demo/pin?_WHERE&%73ql=select+1", LINK, 403),
    ],
)
async def test_a_page_of_another_site_may_link_here_but_not_run_anything(
    site: Datasette, address: str, fields: dict[str, str], status: int
) -> None:
    async with make_limited_client(site) as visitor:
        answer = await visitor.get(address, headers=fields)
    assert answer.status_code == status


ENDLESS = "with+recursive+n(i)+as+(select+1+union+all+select+i%2B1+from+n)+select+count(*)+from+n"


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        (ENDLESS, "SQL Interrupted"),
        ("select+zeroblob(900000000)", "too big"),
        ("select+hex(zeroblob(4000000))", "too big"),
        ("delete+from+chip", "SELECT"),
        ("attach+'x.db'+as+x", "SELECT"),
    ],
)
async def test_statements_are_bounded(site: Datasette, sql: str, said: str) -> None:
    site._settings["sql_time_limit_ms"] = site.sql_time_limit_ms = 50
    answer = await site.client.get(f"/demo.json?sql={sql}")
    assert answer.status_code == 400
    assert said.lower() in answer.text.lower()


async def test_no_more_rows_than_a_thousand(site: Datasette) -> None:
    sql = "select+a.id+from+pin+a,pin+b"
    document = (await site.client.get(f"/demo.json?sql={sql}&_shape=objects")).json()
    assert len(document["rows"]) == 1000
    assert document["truncated"]


async def test_trouble_is_told_shortly(site: Datasette, capfd: pytest.CaptureFixture[str]) -> None:
    for address in ("/nothing.json", "/demo/nothing", "/demo/pin.json?_sort=nothing"):
        answer = await site.client.get(address)
        assert answer.status_code in (400, 404)
    out, err = capfd.readouterr()
    assert (out, err) == ("", "")


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Clocks that a test can wait for."""
    monkeypatch.setattr(patience, "REQUEST_S", 0.5)
    monkeypatch.setattr(patience, "READING_S", 0.5)


@pytest.fixture
def address(demo_path: object, impatient: None) -> tuple[str, int]:
    """The demonstration behind real sockets."""
    bound, ready = listen("127.0.0.1", 0), threading.Event()
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 8192)  # soon full
    host, port = bound.getsockname()[:2]
    newest = NewestFolio(demo_path)  # type: ignore[arg-type]
    threading.Thread(target=serve, args=(newest, bound, ready.set), daemon=True).start()
    assert ready.wait(30)
    return str(host), int(port)


HEAD = b"GET /chip/TQZ5752 HTTP/1.1\r\nHost: localhost\r\n"


def read_until_end(visitor: socket.socket) -> bytes:
    """The bytes read until the server ends the connection."""
    visitor.settimeout(20)
    read = b""
    try:
        while piece := visitor.recv(65536):
            read += piece
    except ConnectionResetError:
        pass
    return read


def read_head(visitor: socket.socket) -> bytes:
    """The bytes up to the end of the answer's head; the connection stays open."""
    visitor.settimeout(20)
    read = b""
    while b"\r\n\r\n" not in read and (piece := visitor.recv(65536)):
        read += piece
    return read.partition(b"\r\n\r\n")[0]


@pytest.mark.parametrize("begun", [b"", b"GE", HEAD, b"POST / HTTP/1.1\r\nHost: localhost\r\n"
                                   b"Content-Length: 99\r\n\r\nab"])  # fmt: skip
def test_who_does_not_finish_his_request_is_let_go(address: tuple[str, int], begun: bytes) -> None:
    with socket.create_connection(address) as visitor:
        visitor.sendall(begun)
        assert b" 200 " not in read_until_end(visitor)


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"GET /\x00 HTTP/1.1\r\n\r\n", 400),
        (b"BREW\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nCookie: \xff\xfe=\x80; a\r\n\r\n", 200),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Forwarded-For: \xff, 1.2.3\r\n\r\n", 200),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nAuthorization: Basic \xff\r\n\r\n", 200),
        (b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n", 421),
        (b"DELETE / HTTP/1.1\r\nHost: localhost\r\n\r\n", 405),
        (b"GET /nothing HTTP/1.1\r\nHost: localhost\r\n\r\n", 404),
        (b"GET /-/static/no.css HTTP/1.1\r\nHost: localhost\r\n\r\n", 404),
        (b"GET /" + b"x" * 40_000 + b" HTTP/1.1\r\n\r\n", 400),
    ],
)
def test_every_answer_has_the_headers(
    address: tuple[str, int], request_: bytes, status: int
) -> None:
    with socket.create_connection(address) as visitor:
        visitor.sendall(request_)
        head = read_head(visitor).lower()
    assert head.startswith(b"http/1.1 %d " % status)
    for name, value in EVERYWHERE:
        assert head.count(name + b": " + value) == 1


def test_who_drips_his_request_is_let_go_too(address: tuple[str, int]) -> None:
    with socket.create_connection(address) as visitor:
        sent = 0
        with suppress(ConnectionError):
            while sent < 400:
                sent += visitor.send(b"x")
                time.sleep(0.05)
        assert sent < 400


def test_others_are_answered_while_many_dawdle(address: tuple[str, int]) -> None:
    dawdlers = [socket.create_connection(address) for _ in range(100)]
    try:
        for dawdler in dawdlers:
            dawdler.sendall(HEAD)
        host, port = address
        answer = httpx.get(f"http://{host}:{port}/chip/TQZ5752/13.json")
        assert answer.status_code == 200
    finally:
        for dawdler in dawdlers:
            dawdler.close()


def test_who_reads_slowly_holds_up_nobody_and_is_let_go(address: tuple[str, int]) -> None:
    host, port = address
    slow = socket.socket()
    slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    slow.connect(address)
    every_pair = b"GET /demo.csv?sql=select+a.*+from+pin+a,pin+b&_size=max HTTP/1.1\r\n"
    slow.sendall((every_pair + b"Host: localhost\r\n\r\n") * 100)  # more than buffers hold
    assert slow.recv(1)
    for _ in range(3):
        assert httpx.get(f"http://{host}:{port}/find?q=5752").status_code == 200
    time.sleep(2)
    assert read_until_end(slow).count(b"HTTP/1.1 200") < 100
    slow.close()


def test_a_request_line_too_long_to_be_read_is_refused(address: tuple[str, int]) -> None:
    with socket.create_connection(address) as visitor:
        visitor.sendall(b"GET /" + b"x" * 100_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert read_head(visitor).startswith((b"HTTP/1.1 400 ", b"HTTP/1.1 414 "))
