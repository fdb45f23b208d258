"""A folio of thirty chips whose markings differ by a number, with ten functions in common."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from pinfolio.loaders import Folio, open_folio
from pinfolio.loaders.folio.build import build_from_chips
from pinfolio.schema import Chip

SERIES = [f"QZ57{number:02}" for number in range(1, 31)]
SHORT = ("QJ58", "WK6")


def make_chip(part: str) -> Chip:
    def pin(number: int) -> dict[str, Any]:
        if number > 14:
            role = {15: "ground", 16: "supply"}[number]
            return {"number": number, "symbol": role.upper(), "function": role, "role": role}
        name = f"{'gate' if number <= 10 else 'feed'} {number}"
        return {"number": number, "symbol": f"P{number}", "function": name, "role": "output"}

    return Chip.model_validate(
        {
            "file_format": "pinfolio chip 1",
            "part": part,
            "maker": "Nobody",
            "kind": "jungle",
            "summary": "Invented for this test.",
            "invented": True,
            "package": {"family": "DIP", "pins": 16},
            "supplies": [{"name": "VCC", "pins": [16], "voltage": "9 V"}],
            "sources": [{"id": "sheet", "kind": "data sheet", "title": "Sheet"}],
            "conditions": [{"name": "colour bars", "means": "Bars."}],
            "blocks": [
                {"id": f"gate-{n}", "name": f"clamp gate {n}", "inputs": [f"pin {n}"]}
                for n in range(1, 11)
            ],
            "pins": [pin(number) for number in range(1, 17)],
        }
    )


@pytest.fixture(scope="session")
def series(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Folio]:
    path = tmp_path_factory.mktemp("series") / "folio.db"
    build_from_chips([make_chip(part) for part in (*SERIES, *SHORT)], path)
    with open_folio(path) as folio:
        yield folio
