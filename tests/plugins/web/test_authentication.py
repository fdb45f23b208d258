"""Who may come in: this machine by its own names, others by a password; the page for each."""

from __future__ import annotations

import base64
import socket
import threading
from collections.abc import Callable
from pathlib import Path

import click
import httpx
import pytest
from click.testing import CliRunner
from pinfolio.plugins.terminal.cli import main
from pinfolio.plugins.terminal.serving_options import choose_password
from pinfolio.plugins.web.headers import STRICT_POLICY, Message, Receive, Send
from pinfolio.plugins.web.serving.authentication import Door, WrongTries
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.plugins.web.serving.server import CannotListen, is_loopback, listen, serve

PASSWORD = "pássword: 12,5 µV"


async def answer_inside(scope: Message, receive: Receive, send: Send) -> None:
    """The app that the password protects."""
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


def make_visitor(
    door: Door, comes_from: str = "192.0.2.7", name: str = "bench"
) -> httpx.AsyncClient:
    transport = httpx.ASGITransport(app=door, client=(comes_from, 50000))  # type: ignore[arg-type]
    return httpx.AsyncClient(transport=transport, base_url=f"http://{name}/")


def encode(password: str, user: str = "") -> dict[str, str]:
    """Source: RFC 7617, section 2, with the charset UTF-8 of section 2.1."""
    return {"authorization": f"Basic {base64.b64encode(f'{user}:{password}'.encode()).decode()}"}


async def test_without_the_password_a_plain_page_asks_for_it() -> None:
    async with make_visitor(Door(answer_inside, PASSWORD, pause_s=0)) as stranger:
        answer = await stranger.get("/chip/X")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == 'Basic realm="pinfolio", charset="UTF-8"'
    assert answer.headers["content-security-policy"] == STRICT_POLICY
    assert "<h1>This folio asks for a password</h1>" in answer.text


@pytest.mark.parametrize("user", ["", "anna", "a b"])
async def test_the_password_opens_with_any_user_name(user: str) -> None:
    async with make_visitor(Door(answer_inside, PASSWORD)) as guest:
        assert (await guest.get("/", headers=encode(PASSWORD, user))).text == "inside"


async def test_the_example_of_rfc_7617_opens() -> None:
    """Sections 2 and 2.1: Aladdin's "open sesame", and "123£" as UTF-8."""
    for password, coded in (
        ("open sesame", "QWxhZGRpbjpvcGVuIHNlc2FtZQ=="),
        ("123£", "dGVzdDoxMjPCow=="),
    ):
        async with make_visitor(Door(answer_inside, password)) as guest:
            answer = await guest.get("/", headers={"authorization": f"basic {coded}"})
        assert answer.text == "inside"


@pytest.mark.parametrize(
    "authorization",
    [
        encode("wrong"), encode(""), encode(PASSWORD[:-1]), encode(PASSWORD + " "),
        {"authorization": "Basic"}, {"authorization": "Basic %%%"},
        {"authorization": "Basic /////w=="}, {"authorization": "Bearer x"},
    ],
)  # fmt: skip
async def test_nothing_else_opens(authorization: dict[str, str]) -> None:
    async with make_visitor(Door(answer_inside, PASSWORD, pause_s=0)) as stranger:
        answer = await stranger.get("/", headers=authorization)
    assert answer.status_code == 401


async def test_after_five_wrong_tries_even_the_right_one_waits_but_others_do_not() -> None:
    door = Door(answer_inside, PASSWORD, pause_s=0)
    async with make_visitor(door) as stranger, make_visitor(door, "192.0.2.8") as other:
        for _ in range(5):
            assert (await stranger.get("/", headers=encode("wrong"))).status_code == 401
        refused = await stranger.get("/", headers=encode(PASSWORD))
        assert refused.status_code == 429
        assert 0 < int(refused.headers["retry-after"]) <= 61
        assert (await other.get("/", headers=encode(PASSWORD))).text == "inside"


def test_wrong_tries_are_forgotten_after_a_minute() -> None:
    now = [0.0]
    tries = WrongTries(clock=lambda: now[0])
    for second in range(5):
        now[0] = second
        assert tries.wait_s("a") == 0
        tries.add("a")
    assert tries.wait_s("a") == 57  # the first was at 0 s, it is 4 s now
    now[0] = 60.5
    assert tries.wait_s("a") == 0


async def test_ipv6_visitors_count_by_their_network() -> None:
    """One subscriber has a /64: RFC 4291, section 2.5.4."""
    door = Door(answer_inside, PASSWORD, pause_s=0)
    for number in range(5):
        async with make_visitor(door, f"2001:db8::{number}") as stranger:
            await stranger.get("/", headers=encode("wrong"))
    async with (
        make_visitor(door, "2001:db8::ffff:9") as same,
        make_visitor(door, "2001:db8:0:1::1") as other,
    ):
        assert (await same.get("/", headers=encode(PASSWORD))).status_code == 429
        assert (await other.get("/", headers=encode(PASSWORD))).status_code == 200


async def test_an_address_that_is_none_is_a_wrong_request() -> None:
    async with make_visitor(Door(answer_inside, PASSWORD), "no address") as forged:
        answer = await forged.get("/", headers=encode(PASSWORD))
    assert answer.status_code == 400


@pytest.mark.parametrize(
    ("proxy", "statuses"), [(None, [401] * 5 + [429] * 2), ("127.0.0.1", [401] * 7)]
)
def test_forwarded_addresses_are_believed_from_the_proxy_alone(
    demo_path: Path, proxy: str | None, statuses: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Believed from everybody, they would let one visitor try without end, or lock out others."""
    bound, ready = listen("127.0.0.1", 0), threading.Event()
    serve_it = (NewestFolio(demo_path), bound, ready.set, PASSWORD, proxy)
    threading.Thread(target=serve, args=serve_it, daemon=True).start()
    assert ready.wait(60)
    found = []
    with httpx.Client(base_url=f"http://127.0.0.1:{bound.getsockname()[1]}", timeout=60) as client:
        for number in range(7):
            forwarded = {"x-forwarded-for": f"192.0.2.{number}"}
            found.append(client.get("/", headers=encode("wrong") | forwarded).status_code)
        assert found == statuses
        garbage = client.get("/", headers=encode(PASSWORD) | {"x-forwarded-for": "garbage"})
        assert garbage.status_code == (400 if proxy else 429)


@pytest.mark.parametrize(
    "host",
    ["localhost", "localhost:8150", "127.0.0.1:8150", "LOCALHOST.", "[::1]:9000", "127.0.0.2"],
)
async def test_this_machine_is_open_by_its_own_names(host: str) -> None:
    async with make_visitor(Door(answer_inside)) as here:
        assert (await here.get("/", headers={"host": host})).text == "inside"


@pytest.mark.parametrize(
    "host", ["bench.example", "localhost.example", "127.0.0.1.example:80", "192.0.2.7", "", "[::2]"]
)
async def test_a_name_made_to_point_here_leads_nowhere(host: str) -> None:
    async with make_visitor(Door(answer_inside)) as rebound:
        answer = await rebound.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "localhost" in answer.text


@pytest.fixture
def anywhere() -> socket.socket:
    return listen("0.0.0.0", 0)


def test_beyond_this_machine_nothing_is_served_without_a_password(
    anywhere: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PINFOLIO_PASSWORD", raising=False)
    assert not is_loopback(anywhere)
    with pytest.raises(click.ClickException, match=r"--password-file FILE or PINFOLIO_PASS"):
        choose_password(anywhere, None)
    with pytest.raises(AssertionError):
        serve(answer_inside, anywhere, lambda: None)
    anywhere.close()


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_on_this_machine_none_is_asked_for(host: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PINFOLIO_PASSWORD", raising=False)
    with listen(host, 0) as bound:
        assert choose_password(bound, None) is None


def test_the_password_is_the_first_line_of_the_file_else_the_environment(
    anywhere: socket.socket, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PINFOLIO_PASSWORD", "from the environment")
    file = tmp_path / "password.txt"
    file.write_text(f"{PASSWORD}\nand a remark\n", encoding="utf-8")
    with anywhere:
        assert choose_password(anywhere, file) == PASSWORD
        assert choose_password(anywhere, None) == "from the environment"


def test_a_taken_port_says_what_else_to_try() -> None:
    with listen("127.0.0.1", 0) as taken:
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CannotListen, match=r"perhaps another pinfolio; .* --port 0"):
            listen("127.0.0.1", port)
        with listen("127.0.0.1", port, or_any=True) as other:
            assert other.getsockname()[1] != port


@pytest.mark.parametrize("host", ["192.0.2.7", "fe80::1", "nosuch.invalid"])
def test_an_address_of_another_machine_is_refused_even_with_any_port(host: str) -> None:
    """Names and addresses that are nobody's: RFC 5737 and RFC 6761."""
    with pytest.raises(CannotListen, match="this machine has no such address"):
        listen(host, 0, or_any=True)


BAD_FILES: list[tuple[bytes, str]] = [
    (b"", "the password has 0 characters; use 8 or more"),
    (b"short\n", "the password has 5 characters; use 8 or more"),
    (b"\xff\xfe\xff", "the password file is not UTF-8; save it as UTF-8 text"),
]


@pytest.mark.parametrize(("content", "said"), BAD_FILES)
def test_a_password_that_protects_nothing_is_refused(
    tmp_path: Path, demo_path: Path, content: bytes, said: str
) -> None:
    file = tmp_path / "password.txt"
    file.write_bytes(content)
    command = ["serve", str(demo_path), "--host", "0.0.0.0", "--port", "0"]
    refused = CliRunner().invoke(main, [*command, "--password-file", str(file)])
    assert refused.exit_code == 2
    assert said in refused.stderr


def test_it_says_what_it_opens(
    demo_path: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PINFOLIO_PASSWORD", PASSWORD)

    def serve_nothing(
        app: object, bound: socket.socket, ready: Callable[[], None], *_: object
    ) -> None:
        ready()

    monkeypatch.setattr("pinfolio.plugins.web.serving.server.serve", serve_nothing)
    said = CliRunner().invoke(main, ["serve", str(demo_path), "--host", "0.0.0.0", "--port", "0"])
    for words in ("Every machine that can reach", "change nothing", "not encrypted"):
        assert words in said.output
