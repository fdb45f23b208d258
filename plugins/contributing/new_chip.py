"""A chip file to begin with: everything that is known already, and a blank for the rest.

Each blank is a key without a value, with a comment beside it that says what belongs there. Such a
comment goes when the file is formatted after its blank was filled.
"""

from __future__ import annotations

import re

from pydantic import ValidationError
from rapidfuzz import process

from ...loaders.chip_files.canonical_text import EXPLAINS, format_chip_file
from ...loaders.chip_files.part_name import check_part
from ...loaders.chip_files.yaml_comments import Scalar
from ...loaders.chip_files.yaml_layout import scalar_text
from ...schema.chips.package import FAMILIES, Package
from ...schema.errors import Unusable
from ...schema.vocabulary import KINDS, ROLES


class NotAChip(Unusable):
    """Words that no chip file can be begun with: found, expected, and the nearest right one."""


def new_chip(part: str, package: str, kind: str | None = None) -> str:
    """The text of a chip file; raises PartError or NotAChip for words that do not fit."""
    part = check_part(part)
    if kind is not None:
        check_kind(kind)
    body = read_package(package)
    lines = [*_identity(part, body, kind), *_tables(), *_pins(body.pins)]
    return format_chip_file("\n".join(lines))


def check_kind(kind: str) -> None:
    """Raise NotAChip when there is no such kind of chip."""
    if kind not in KINDS:
        raise NotAChip(_not_one_of("kind", kind, KINDS))


def read_package(text: str) -> Package:
    """``SDIP-42`` -> Package; raises NotAChip."""
    found = re.fullmatch(r"([A-Za-z]+)[ -]?([0-9]{1,4})", text.strip())
    if found is None:
        raise NotAChip(f"found the package {text!r}, expected family and pins such as 'SDIP-42'")
    family = found[1].upper()
    if family not in FAMILIES:
        raise NotAChip(_not_one_of("package family", family, FAMILIES))
    try:
        return Package.model_validate({"family": family, "pins": int(found[2])})
    except ValidationError as refused:
        raise NotAChip(refused.errors()[0]["msg"].removeprefix("Value error, ")) from None


def _not_one_of(what: str, word: str, known: tuple[str, ...]) -> str:
    near = process.extractOne(word, known, score_cutoff=60)
    hint = f"; write {near[0]!r}" if near else ""
    return f"found the {what} {word!r}, expected one of {', '.join(known)}{hint}"


def _blank(key: str, explained: str) -> str:
    return f"{key}:  {EXPLAINS} {explained}"


def _identity(part: str, package: Package, kind: str | None) -> list[str]:
    return [
        "# Fill in what stands blank: `pinfolio lint` on this file lists what is left.",
        "# `pinfolio format` takes the explanations away where that is done.",
        "",
        "file_format: pinfolio chip 1",
        f"part: {scalar_text(Scalar(part), in_brackets=False)}",
        _blank("maker", "who makes it, as the data sheet says"),
        f"kind: {kind}" if kind else _blank("kind", f"one of: {', '.join(KINDS)}"),
        _blank("summary", "the chip in a sentence or two: what it does and in which sets"),
        f"package: {{family: {package.family}, pins: {package.pins}}}",
    ]


def _tables() -> list[str]:
    return [
        "supplies:",
        "  - " + _blank("name", "what the data sheet calls it: VCC"),
        "    " + _blank("pins", "numbers of the pins it enters at: [9, 31]"),
        "    " + _blank("voltage", "with its limits: 8 V ± 5 %"),
        "sources:",
        "  - id: sheet",
        "    kind: data sheet",
        "    " + _blank("title", "title of the data sheet"),
        "conditions:",
        "  - {name: no signal, means: 'Set on, aerial unplugged'}",
        "  - {name: colour bars, means: 'Set on, 75 % colour bars at the aerial socket'}",
    ]


def _pins(count: int) -> list[str]:
    lines = [
        "",
        "# What a pin shows goes under its role, one line for each condition:",
        "#   expectations:",
        "#     - {condition: no signal, dc: 3.1 V ± 10 %, source: {id: sheet, page: 5}}",
        "pins:",
    ]
    for number in range(1, count + 1):
        lines += [
            f"  - number: {number}",
            "    " + _blank("symbol", "its short name in the pin table: CVBS IN"),
            "    " + _blank("function", "what it does: composite video input"),
            "    " + _blank("role", ", ".join(ROLES)),
        ]
    return lines
