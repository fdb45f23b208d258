"""The instruments to choose from, as plain data; ordinary ones while the shop's file has errors."""

from __future__ import annotations

from pathlib import Path

import pytest
from pinfolio.loaders.shop.instruments_file import locate_instruments_file
from pinfolio.plugins.instruments.known_instruments import describe_instruments, load_instruments
from pinfolio.schema.instruments.ordinary import BUILT_IN


@pytest.fixture
def own_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    path = locate_instruments_file()
    path.parent.mkdir(parents=True, exist_ok=True)
    return path


def test_without_a_file_and_with_a_faulty_one_the_ordinary_ones(own_file: Path) -> None:
    assert load_instruments() == BUILT_IN
    own_file.write_text("[prob.lead]\n", encoding="utf-8")
    assert load_instruments() == BUILT_IN


def test_the_document_lists_each_kind_and_the_file(own_file: Path) -> None:
    document = describe_instruments(BUILT_IN, own_file)
    assert {"file", "there", "meters", "probes", "scopes"} <= set(document)
    assert (document["file"], document["there"]) == (str(own_file), False)
    assert [meter["name"] for meter in document["meters"]] == list(BUILT_IN.meters)
    assert document["probes"][0]["factor"] == 10
    own_file.write_text("", encoding="utf-8")
    assert describe_instruments(BUILT_IN, own_file)["there"] is True
