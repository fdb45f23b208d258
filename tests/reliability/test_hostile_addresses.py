"""Ten thousand addresses that nobody would type who means well: each gets a page, none breaks it.

Most are hostile words in the places where a part, a pin, a table, a search or a setting is
expected; some are raw bytes. They are asked of the whole application, without a socket in between.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.web.headers import App, Message
from pinfolio.plugins.web.serving.authentication import Door
from pinfolio.plugins.web.serving.newest_folio import NewestFolio
from pinfolio.plugins.web.serving.request_limits import within_limits

HOW_MANY = 10_000
QUARTERS = range(4)  # for as many processes

WORDS = [
    "../../../etc/passwd", "..\\..\\boot.ini", "%00", "\0", "a\0b", "\r\nSet-Cookie: a=b",
    "\x1b[2J", "\u202etxt", "\ud800", "\ufeff", "\U0010ffff", "İ", "ß" * 50, "’", '"', '""', '"""',
    "'", "';--", "' OR 1=1 --", "1; DROP TABLE chip", "<script>alert(1)</script>", "{{7*7}}",
    "${7*7}", "%s%n", "NEAR(", "a AND", "NOT", "AND OR NOT", "chip:", "-", "*", "a*b*", "^", "(",
    ")", '"a', "{a b}", "+ - . / \\", "?", "#", "&", "=", ";", "|", "a" * 299, "9" * 299, "-1",
    "0", "1e309", "nan", "inf", "99999999999999999999", "0x10", "½", "Ⅷ", "٣", "１３", "1/0",
    "null",
    "None", "true", "[]", "{}", '{"a":1}', "[[", "~", "~7E", "~FF", "~zz", "%", "%zz", "%FF%FE",
    "%C0%AE", "%ED%A0%80", "pin 13", "TQZ5752", "TQZ5752.json", "13", "chip", "folio", "_internal",
    "sqlite_master", "pin_fts", ".json", ".csv", ".db", ".jsono", ".xml", "con", "aux.html",
    "SELECT 1", "5 V", "5 V ± 1e999 %", "1e999 V", "12,5 V", "-5 kV", "5 Vpp at 0 Hz", "1 THz",
    "∞ V", "K" * 40 + "Ω",
]  # fmt: skip
PLACES = [
    "/{0}", "/{0}/{1}", "/{0}/{1}/{2}", "/{0}.json", "/{0}/{1}.json", "/-/{0}", "/-/{0}.json",
    "/-/static/{0}", "/-/static-plugins/pinfolio/{0}", "/chip/{0}", "/chip/{0}.json",
    "/chip/{0}/{1}", "/chip/{0}/{1}.json", "/chip/{0}/fault-finding",
    "/chip/{0}/{1}/check.json?dc={2}", "/notes/attachment/{0}", "/notes/attachment/{0}.{1}",
    "/demo/{0}", "/demo/{0}.csv", "/demo/{0}/{1}", "/demo/pin/{0}", "/demo/pin/{0}.json",
    "/demo/note/{0}", "/demo/chip_fts/{0}", "/_internal/{0}", "/:memory:{0}", "//{0}//{1}",
    "/{0}/", "/{0}?{1}={2}", "/%2e%2e/{0}",
]  # fmt: skip
COSTLY = [
    "/find?q={0}", "/find.json?q={0}&kind={1}&package={2}", "/find.json?q={0}&role={1}&system={2}",
    "/notes?q={0}", "/notes.json?q={0}&chip={1}&at={2}", "/notes?q={0}&dc={1}&vpp={2}",
    "/compare.json?a={0}&b={1}", "/compare?a=TQZ5752&b={0}", "/chip/TQZ5752?condition={0}",
    "/chip/TQZ5752/{0}?condition={1}", "/chip/TQZ5752/13?dc={0}&vpp={1}&frequency={2}",
    "/chip/TQZ5752/13.json?meter={0}&probe={1}&scope={2}", "/chip/TQZ5752/13/check.json?dc={0}",
    "/chip/TQZ5752/13/check.json?vpp={0}&frequency={1}&condition={2}&expect={0}",
    "/chip/MDQ3724/fault-finding?symptom={0}", "/chip/MDQ3724/fault-finding.json?readings={0}",
    "/demo.json?sql={0}", "/demo.json?sql=select+{0}", "/demo/pin.json?_sort={0}",
    "/demo/pin.json?_next={0}", "/demo/pin.json?_size={0}", "/demo/pin.json?_where={0}",
    "/demo/pin.json?_facet={0}", "/demo/pin.json?_facet_size={0}", "/demo/pin.json?_search={0}",
    "/demo/pin.json?_facet_array={0}&_facet_date={1}", "/demo/pin.json?_search_{0}={1}",
    "/demo/pin.json?_shape={0}", "/demo/pin.json?_col={0}&_nocol={1}",
    "/demo/pin.json?_labels={0}", "/demo/pin.json?{0}__gt={1}", "/demo/pin.json?number__{0}={1}",
    "/demo/pin.json?_through={0}", "/demo/pin.json?number__in={0}",
    "/demo/pin.json?symbol__like={0}&symbol__glob={1}", "/demo/pin.json?symbol__arraycontains={0}",
    "/demo/pin.csv?_stream={0}&_size=max&_dl={1}", "/demo/pin.json?_searchmode=raw&_search={0}",
    "/demo/pin.json?_sort_desc={0}&_next={1}", "/demo/pin.json?_json={0}&_ttl={1}&_trace={2}",
    "/demo/pin.json?_extra={0}&_nofacet={1}",
    "/demo/pin?_filter_column={0}&_filter_op={1}&_filter_value={2}",
]  # fmt: skip


def encode_address(word: str, chance: random.Random) -> str:
    """The word in an address: rightly percent-encoded, half of it, or just as it is."""
    safe = chance.choice(["", "/", "".join(map(chr, range(0x21, 0x7F)))])
    return quote(word, safe=safe, errors="surrogatepass")


def draw_addresses(chance: random.Random) -> Iterator[bytes]:
    for number in range(HOW_MANY):
        if number % 50 == 0:  # bytes that no client ought to send
            yield b"/" + chance.randbytes(chance.randrange(80)).replace(b"\n", b"")
        else:
            place = chance.choice(COSTLY if number % 20 == 0 else PLACES)
            words = [encode_address(word, chance) for word in chance.choices(WORDS, k=3)]
            yield place.format(*words).encode("ascii")


async def get_status(app: App, address: bytes) -> int:
    path, _, query = address.partition(b"?")
    statuses = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    scope = {
        "type": "http",
        "method": "GET",
        "path": path.decode("latin-1"),
        "raw_path": path,
        "query_string": query,
        "headers": [(b"host", b"localhost")],
        "client": ("127.0.0.1", 50000),
        "scheme": "http",
        "http_version": "1.1",
    }
    await app(scope, receive, send)
    (status,) = statuses
    return int(status)


@pytest.fixture
def folio(tmp_path: Path) -> Path:
    path = tmp_path / "demo.db"
    build_folio(chip_files(), path)
    return path


# Datasette drops its own coroutines where a table's facets fail.
@pytest.mark.filterwarnings("ignore:coroutine:RuntimeWarning")
@pytest.mark.parametrize("quarter", QUARTERS)
async def test_ten_thousand_hostile_addresses_give_no_server_error(
    folio: Path, quarter: int
) -> None:
    statuses: Counter[int] = Counter()
    broken = []
    async with NewestFolio(folio) as newest:
        app = Door(within_limits(newest))
        for address in list(draw_addresses(random.Random(1956)))[quarter :: len(QUARTERS)]:
            status = await get_status(app, address)
            statuses[status] += 1
            if status >= 500:
                broken.append((status, address))
    assert broken == []
    assert statuses.total() * len(QUARTERS) == HOW_MANY
    assert set(statuses) >= {200, 400, 404}
