"""Ten thousand things that nobody looks for who means well: each is a question like any other."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders import open_folio
from pinfolio.loaders.folio.build import build_folio
from pinfolio.plugins.search.find import find
from pinfolio.plugins.web.serving.server import open_datasette

HOW_MANY = 10_000
QUARTERS = range(4)  # for as many processes

SNIPPETS = [
    *('"', "'", "`", '""', "“", "((", "))", "[", "{", "}", "\\", "/", ";", "--", "/*", "|", "~"),
    *("*", "?", "%", "_", "%%", "%s", "%(x)s", "{0}", "{{7*7}}", "${x}", "#", "&", "=", "+", "^"),
    *("NEAR", "NEAR(", "NEAR(a b, 9)", "AND", "OR", "NOT", "a AND", "chip:", "-a", "a*", '"a'),
    *("' OR 1=1 --", "'; DROP TABLE chip; --", "UNION SELECT * FROM chip", "x' || randomblob(9)"),
    *("(a+)+$", "(.*)*", "[[:alpha:]]{9999}", "^(([a-z])+.)+[A-Z]([a-z])+$", "\\1", "(?=", "$("),
    *(
        "\0",
        "\r\n",
        "\t",
        "\x1b[2J",
        "\x07",
        "\x7f",
        "\x85",
        "\u2028",
        "\ufeff",
        "\u200b",
        "\ufffd",
    ),
    *("\u202e", "\u2066", "\u200f", "\ud800", "\udfff", "\U0010ffff", "\ue000", "\ufdd0"),
    *("\u0301" * 40, "a\u0338\u0489", "e\u0301", "é", "İ", "ı", "ß", "ﬁ", "Ⅷ", "①", "٣", "１３"),
    *("😀", "👩‍🔧", "🇩🇪", "工具", "עברית", "العربية", "µ", "μ", "Ω", "ohm", "½", "∞", "−5", "°"),
    *("TQZ5752", "tqz 5752", "TQZ?752", "T?????2", "QZ5?1O", "sync", "input", "line drive", "13"),
    *("pin 13", "-1", "1e999", "nan", "0x10", "99999999999999999999", "None", "null", "true", ""),
    *("<script>alert(1)</script>", "../../etc/passwd", "file:///etc/passwd", "http://127.0.0.1/"),
]
LONG = ["a" * 500, "9" * 500, "? " * 200, "* " * 200, '"' * 301, "sync " * 100, "8B0OD" * 60]


def draw_hostile_texts(seed: int) -> Iterator[str]:
    """One snippet, or several run together or apart, a long one, or arbitrary characters."""
    draw = random.Random(seed)
    for number in range(HOW_MANY):
        if number < len(SNIPPETS):
            yield SNIPPETS[number]
        elif number % 100 == 0:
            yield draw.choice(LONG) + draw.choice(SNIPPETS)
        elif number % 4:
            yield draw.choice(["", " ", "  ", "-"]).join(
                draw.choices(SNIPPETS, k=draw.randint(2, 4))
            )
        else:
            yield "".join(chr(draw.randrange(0x110000)) for _ in range(draw.randint(1, 40)))


@pytest.fixture(scope="module")
def demo_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("searched") / "demo.db"
    build_folio([*chip_files(), *note_files()], path)
    return path


@pytest.mark.parametrize("quarter", QUARTERS)
def test_whatever_is_typed_is_answered(demo_path: Path, quarter: int) -> None:
    """An answer of at most so many chips and pins as were asked for, about the typed words."""
    texts = list(draw_hostile_texts(seed=1))[quarter :: len(QUARTERS)]
    assert len(texts) * len(QUARTERS) == HOW_MANY
    with open_folio(demo_path) as folio:
        for text in texts:
            found = find(folio, text, limit=5)
            assert found.query == text
            assert len(found.chips) <= 5
            assert len(found.pins) <= 5


async def test_the_page_answers_whatever_is_typed(demo_path: Path) -> None:
    """Found, or not found: never an error, and typed markup never becomes part of the page."""
    site = open_datasette(demo_path)
    for text in list(draw_hostile_texts(seed=2))[::40]:
        typed = text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
        for address in ("/find", "/find.json"):
            answer = await site.client.get(address, params={"q": typed})
            assert answer.status_code in (200, 302, 404), (text, answer.text)
            assert "<script>alert(1)" not in answer.text or address.endswith(".json")


@pytest.mark.parametrize("address", ["/find?q=%ED%A0%80", "/find?q=%FF%FE", "/find?q=%00"])
async def test_bytes_that_are_no_text_are_answered_too(demo_path: Path, address: str) -> None:
    answer = await open_datasette(demo_path).client.get(address)
    assert answer.status_code in (200, 404)
