"""Begin a chip file: the known values, and a blank for each missing one.

A blank is a key without a value, with a comment that explains it. Formatting the file removes the
comment once the blank is filled.
"""

from __future__ import annotations

import re

from pydantic import ValidationError
from rapidfuzz import process

from ...loaders.chip_files.canonical_text import EXPLAINS, format_chip_file
from ...loaders.chip_files.part_name import check_part
from ...loaders.chip_files.yaml_comments import Scalar
from ...loaders.chip_files.yaml_layout import format_scalar
from ...schema.chips.package import FAMILIES, Package
from ...schema.errors import Unusable
from ...schema.vocabulary import KINDS, ROLES


class NotAChip(Unusable):
    """A package or kind that no chip file can begin with; the message names the nearest."""


def begin_chip_file(part: str, package: str, kind: str | None = None) -> str:
    """Return the text of a new chip file; raises PartError or NotAChip."""
    part = check_part(part)
    if kind is not None:
        check_kind(kind)
    body = read_package(package)
    lines = [*_write_identity(part, body, kind), *_write_tables(), *_write_pins(body.pins)]
    return format_chip_file("\n".join(lines))


def check_kind(kind: str) -> None:
    """Raise NotAChip when there is no such kind of chip."""
    if kind not in KINDS:
        raise NotAChip(_explain_unknown("kind", kind, KINDS))


def read_package(text: str) -> Package:
    """Return the package of a text such as ``SDIP-42``; raises NotAChip."""
    match = re.fullmatch(r"([A-Za-z]+)[ -]?([0-9]{1,4})", text.strip())
    if match is None:
        raise NotAChip(f"package {text!r} is not a family and pins; write one such as 'SDIP-42'")
    family = match[1].upper()
    if family not in FAMILIES:
        raise NotAChip(_explain_unknown("package family", family, FAMILIES))
    try:
        return Package.model_validate({"family": family, "pins": int(match[2])})
    except ValidationError as refused:
        raise NotAChip(refused.errors()[0]["msg"].removeprefix("Value error, ")) from None


def _explain_unknown(noun: str, word: str, known: tuple[str, ...]) -> str:
    near = process.extractOne(word, known, score_cutoff=60)
    hint = f"; write {near[0]!r}" if near else ""
    return f"{noun} {word!r} is not known; the known ones are {', '.join(known)}{hint}"


def _write_blank(key: str, explained: str) -> str:
    return f"{key}:  {EXPLAINS} {explained}"


def _write_identity(part: str, package: Package, kind: str | None) -> list[str]:
    return [
        "# Fill in the blanks: `pinfolio lint` on this file lists those that are left.",
        "# `pinfolio format` removes the explanations of the filled ones.",
        "",
        "file_format: pinfolio chip 1",
        f"part: {format_scalar(Scalar(part), in_brackets=False)}",
        _write_blank("maker", "the maker, as on the data sheet"),
        f"kind: {kind}" if kind else _write_blank("kind", f"one of: {', '.join(KINDS)}"),
        _write_blank("summary", "the chip in a sentence or two: what it does and in which sets"),
        f"package: {{family: {package.family}, pins: {package.pins}}}",
    ]


def _write_tables() -> list[str]:
    return [
        "supplies:",
        "  - " + _write_blank("name", "its name on the data sheet: VCC"),
        "    " + _write_blank("pins", "numbers of the pins it enters at: [9, 31]"),
        "    " + _write_blank("voltage", "with its limits: 8 V ± 5 %"),
        "sources:",
        "  - id: sheet",
        "    kind: data sheet",
        "    " + _write_blank("title", "title of the data sheet"),
        "conditions:",
        "  - {name: no signal, means: 'Set on, aerial unplugged'}",
        "  - {name: colour bars, means: 'Set on, 75 % colour bars at the aerial socket'}",
    ]


def _write_pins(count: int) -> list[str]:
    lines = [
        "",
        "# Expected values go under the role, one line for each condition:",
        "#   expectations:",
        "#     - {condition: no signal, dc: 3.1 V ± 10 %, source: {id: sheet, page: 5}}",
        "# More that the sheet may say; where it is left out, `pinfolio lint` lists the guess:",
        "#   output_limits: {low: 0.2 V, high: 7.2 V}  (of an output)",
        "#   threshold: 2.4 V  (where what the pin steers switches over)",
        "#   supply: pin 7  (that the pin lives on, if there are several)",
        "pins:",
    ]
    for number in range(1, count + 1):
        lines += [
            f"  - number: {number}",
            "    " + _write_blank("symbol", "its short name in the pin table: CVBS IN"),
            "    " + _write_blank("function", "what it does: composite video input"),
            "    " + _write_blank("role", ", ".join(ROLES)),
        ]
    return lines
