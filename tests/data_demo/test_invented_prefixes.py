"""The demo's part numbers and makers are nobody's: none is among those known in the trade."""

from __future__ import annotations

import re
from collections.abc import Collection
from functools import cache
from hashlib import sha256
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.schema import Chip

DEMO_PREFIXES = {"TQZ", "OGX", "MDQ", "KYE"}
SHORTEST_TELLING = 3  # letters: some maker has almost every pair


def digest(word: str) -> str:
    """Return a word as `known_names/` keeps it."""
    return sha256(word.casefold().encode()).hexdigest()[:16]


def read_digests(name: str) -> frozenset[str]:
    """Return the digests of one file of `known_names/`."""
    path = Path(__file__).parent / "known_names" / f"{name}.txt"
    return frozenset(path.read_text(encoding="ascii").split())


PREFIXES = read_digests("prefixes")
PREFIX_BEGINNINGS = read_digests("prefix_beginnings")
MAKERS = read_digests("makers")


@cache
def read_chips() -> tuple[Chip, ...]:
    return tuple(load_chip(path) for path in chip_files())


def take_prefix(part: str) -> str:
    """Return the leading letters of a part number.

    >>> prefix("TQZ5752N")
    'TQZ'
    """
    found = re.match(r"[A-Z]+", part.upper())
    return found.group() if found else ""


def find_known_maker(name: str, makers: Collection[str] = MAKERS) -> str | None:
    """Return the piece of a name that is a known maker's name, if there is one.

    Names of up to four letters count as whole words only: they are inside too many others.
    """
    edges = [edge.start() for edge in re.finditer(r"\b", name)]
    pieces = {name[start:end] for start in edges for end in edges if start < end}
    pieces |= {
        name[start:end] for start in range(len(name)) for end in range(start + 5, len(name) + 1)
    }
    return next((piece for piece in sorted(pieces) if digest(piece) in makers), None)


def test_the_lists_are_wide() -> None:
    assert len(PREFIXES) > 1000
    assert len(MAKERS) > 100


def test_demo_prefixes_are_no_real_makers() -> None:
    assert {letters for letters in DEMO_PREFIXES if digest(letters) in PREFIXES} == set()


@pytest.mark.parametrize("demo", sorted(DEMO_PREFIXES))
def test_no_longer_real_prefix_begins_or_is_begun_by_a_demo_prefix(demo: str) -> None:
    assert digest(demo) not in PREFIX_BEGINNINGS
    beginnings = [demo[:length] for length in range(SHORTEST_TELLING, len(demo) + 1)]
    assert [letters for letters in beginnings if digest(letters) in PREFIXES] == []


def test_every_part_of_the_demo_has_an_invented_prefix() -> None:
    for chip in read_chips():
        related = [relation.part for relation in (*chip.replaces, *chip.similar)]
        for part in (chip.part, *chip.markings, *related):
            assert take_prefix(part) in DEMO_PREFIXES, part


def test_each_prefix_belongs_to_one_maker() -> None:
    owners = {(take_prefix(chip.part), chip.maker) for chip in read_chips()}
    assert len(owners) == len({letters for letters, _ in owners})


def test_no_demo_maker_has_a_real_makers_name() -> None:
    assert {chip.maker: find_known_maker(chip.maker) for chip in read_chips()} == {
        chip.maker: None for chip in read_chips()
    }


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("Quernlow Denki", "Quernlow"),
        ("neuequernlow", "quernlow"),
        ("Halbleiter ZXB", "ZXB"),
        ("Zxbert", None),
    ],
)
def test_a_known_makers_name_would_be_found(name: str, found: str | None) -> None:
    assert find_known_maker(name, {digest("Quernlow"), digest("ZXB")}) == found
