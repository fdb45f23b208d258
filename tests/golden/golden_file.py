"""Compare an output with the file that holds it."""

from __future__ import annotations

import difflib
import json
import re
from itertools import islice
from pathlib import Path
from typing import Any, Final

FOLDER: Final = Path(__file__).parent
SIGNIFICANT_DIGITS: Final = 5
_MOST_LINES: Final = 40
_ADVICE: Final = (
    "the output has changed; if that is meant, renew the file and review the diff:"
    " pytest tests/golden --renew; git diff tests/golden"
)
_ROW_OF_NUMBERS: Final = re.compile(r"\[\s*(-?\d[^\[\]{}\"]*?)\s*\]")


def format_document(document: Any) -> str:
    """Return a JSON document a key a line, its rows of numbers on one line each."""
    text = json.dumps(_round(document), ensure_ascii=False, indent=1)
    return _ROW_OF_NUMBERS.sub(lambda row: f"[{' '.join(row[1].split())}]", text) + "\n"


def _round(value: Any) -> Any:
    """Return a value with its numbers rounded, so that another order of adding is no change."""
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}")
    if isinstance(value, dict):
        return {key: _round(inner) for key, inner in value.items()}
    return [_round(inner) for inner in value] if isinstance(value, list) else value


def compare(name: str, text: str, renew: bool) -> None:
    """Assert that ``text`` is that of a golden file; ``renew`` writes the file instead."""
    file = FOLDER / name
    if renew:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    assert file.is_file(), f"{name} is missing; write it with: pytest tests/golden --renew"
    golden = file.read_text(encoding="utf-8")
    changes = difflib.unified_diff(golden.splitlines(), text.splitlines(), name, "printed now")
    assert text == golden, "\n".join([_ADVICE, *islice(changes, _MOST_LINES)])
