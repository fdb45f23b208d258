"""An exception becomes one plain answer: a wrong request, a damaged folio, or our own fault."""

from __future__ import annotations

import json

import pytest
from datasette.app import Datasette
from datasette.utils.asgi import Base400, NotFound, Request
from pinfolio.loaders import FolioError
from pinfolio.plugins.web.failures import build_failure_answer


@pytest.mark.parametrize(
    ("exception", "path", "status", "words"),
    [
        (Base400("bad"), "/chip/TQZ5752.json", 400, "bad"),
        (FolioError("folio.db: damaged; build it again"), "/find", 500, "build it again"),
        (ValueError("_size must be a number"), "/demo/pin", 400, "was not understood"),
    ],
)
async def test_each_exception_has_its_status(
    site: Datasette, exception: Exception, path: str, status: int, words: str
) -> None:
    await site.invoke_startup()
    answer = build_failure_answer(site, Request.fake(path), exception)
    assert answer is not None
    response = await answer()
    assert (response.status, words in response.body) == (status, True)


async def test_a_page_that_is_not_there_says_so(site: Datasette) -> None:
    response = await site.client.get("/chip/TQZ5753/2/wiring")
    assert response.status_code == 404
    assert "There is no page" in response.text


async def test_a_document_reports_its_failure_as_json(site: Datasette) -> None:
    answer = build_failure_answer(site, Request.fake("/find.json"), Base400("no such filter"))
    assert answer is not None
    body = (await answer()).body
    assert json.loads(body) == {
        "ok": False, "error": "no such filter", "status": 400, "title": None,
    }  # fmt: skip


def test_without_a_folio_datasette_answers_itself() -> None:
    assert build_failure_answer(Datasette(), Request.fake("/x"), NotFound("x")) is None


@pytest.mark.parametrize("path", ["/no/page/of/this/name/here", "/_internal/a/b/c/d/e"])
async def test_an_address_of_no_page_is_404_without_a_folio_and_beside_one(
    site: Datasette, path: str
) -> None:
    """With rich, Datasette prints the exception being handled; here it is handling none."""
    assert (await Datasette().client.get(path)).status_code == 404
    answer = await site.client.get(path)
    assert (answer.status_code, "There is no page" in answer.text) == (404, True)
