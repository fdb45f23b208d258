"""Advice can be pasted: whatever a file is called, it stays one word and runs nothing."""

from __future__ import annotations

import shlex
import subprocess
from pathlib import Path

import pytest
from pinfolio.loaders.folio.download_origin import fetch_command, remember_fetch
from pinfolio.loaders.folio.folio_file import build_command
from pinfolio.loaders.system.shell_words import quote_word

NAMES = [
    "my folio.db",
    "$(touch run).db",
    "`id`.db",
    "a;id.db",
    "a'b.db",
    'a"b.db',
    "-x.db",
    "µ.db",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_word_stays_one_word_in_the_shell(name: str, tmp_path: Path) -> None:
    command = ["sh", "-c", f"printf %s {quote_word(name)}"]
    assert subprocess.run(command, capture_output=True, cwd=tmp_path).stdout.decode() == name
    assert list(tmp_path.iterdir()) == []
    assert shlex.split(build_command(name))[-1] == name


def test_plain_names_are_not_quoted() -> None:
    assert build_command("folio.db") == "pinfolio build SOURCE... -o folio.db"


def test_a_record_of_a_download_that_somebody_else_wrote_runs_nothing(tmp_path: Path) -> None:
    folio = tmp_path / "folio.db"
    remember_fetch(folio, ["https://folios.example/a b", "--from-shop", "x"])
    assert shlex.split(fetch_command(folio) or "")[2] == "https://folios.example/a b"
    record = tmp_path / ".folio.db.fetched"
    record.write_text("https://folios.example/ ; rm -rf $(pwd)\n")
    assert fetch_command(folio) == (
        f"pinfolio fetch-folio https://folios.example/ ';' rm -rf '$(pwd)' -o {folio}"
    )
    record.write_text("'open\n")
    assert fetch_command(folio) is None
