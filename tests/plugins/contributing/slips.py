"""Single slips of people who write chip files, each made at random in a demo chip file.

Written from how people slip (keys, words, numbers, units, references, indentation), common
practice, without regard to how the linter finds them.
"""
# ruff: noqa: E501 - one class of slips is one row

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass

from pinfolio.data_demo import chip_files

TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in chip_files()}
"""Demo chip files by name."""

Mend = Callable[[random.Random, str], str]


@dataclass(frozen=True)
class Slip:
    """A class of slips: ``change`` alters group 1 of ``pattern``; ``right`` is the right text.

    ``{0}`` in ``right`` is that group as it was; an empty ``right`` means that the file does not tell.
    ``places`` says at which groups of the match the fault may be reported.
    """

    name: str
    pattern: str
    change: Mend
    right: str = "{0}"
    places: tuple[int, ...] = (1,)
    altered: int = 1


@dataclass(frozen=True)
class FaultyFile:
    """A chip file with one slip: text, places (line, column), and the text that mends it."""

    name: str
    text: str
    places: frozenset[tuple[int, int]]
    right: str


def mistype(chance: random.Random, word: str) -> str:
    """``word`` with two letters swapped, one left out, one doubled or one wrong."""
    inner = [i for i in range(1, len(word) - 1) if word[i].isalpha() and word[i] != word[i + 1]]
    i = chance.choice(inner)
    return chance.choice(
        (
            word[:i] + word[i + 1] + word[i] + word[i + 2 :],
            word[:i] + word[i + 1 :],
            word[:i] + word[i] + word[i:],
            word[:i] + "x" + word[i + 1 :],
        )
    )


def replace(old: str, new: str) -> Mend:
    """A change of the first ``old`` to ``new``."""
    return lambda _chance, text: text.replace(old, new, 1)


def write(new: str) -> Mend:
    """A change of the text to ``new``."""
    return lambda _chance, _text: new


def swap(pattern: str) -> Mend:
    """A change of places of the two groups of ``pattern``."""

    def exchange(_chance: random.Random, text: str) -> str:
        return re.sub(
            pattern,
            lambda m: text.replace(m[1], "\0").replace(m[2], m[1]).replace("\0", m[2]),
            text,
        )

    return exchange


REFERENCE = r"[a-z]+-[a-z-]+[a-z]"
SLIPS = (
    Slip(
        "key",
        r"^ +(role|symbol|function|resistance|expectations|absolute_maximum)(?=: |:\n)",
        mistype,
    ),
    Slip(
        "key of the chip",
        r"^(part|maker|kind|summary|systems|package|markings|supplies|pins)(?=:)",
        mistype,
    ),
    Slip("key in braces", r"[{,] (joins|value|purpose|inputs|outputs|needs|source)(?=: )", mistype),
    Slip("role", r"^    role: ([a-z]{4,})$", mistype),
    Slip("waveform kind", r"waveform: \{kind: ([a-z -]+)", mistype),
    Slip("part kind", r"ref: \w+, kind: ([a-z ]+),", mistype),
    Slip("block kind", r"id: [\w-]+, kind: ([a-z -]+),", mistype),
    Slip("source kind", r"id: \w+, kind: ([a-z ]+),", mistype),
    Slip("hazard kind", r"- \{kind: ([a-zX -]+),", mistype),
    Slip("hazard place", rf"kind: [a-z ]+, at: ({REFERENCE}),", mistype),
    Slip("package family", r"family: (SDIP|SOP|DIP)", replace("DI", "ID")),
    Slip("system", r"systems: \[(PAL-B/G)", write("PAL-BG")),
    Slip("file format", r"^file_format: (pinfolio chip 1)", write("pinfolio chip l")),
    Slip("yes", r"^invented: (yes)", write("yess")),
    Slip("node", rf"joins: \[({REFERENCE}),", mistype),
    Slip("block", rf"(?:inputs|outputs|needs): \[({REFERENCE})[],]", mistype),
    Slip("word pin", r"joins: \[(pin [0-9]+),", replace("pin", "pni")),
    Slip("pin beyond the package", r"joins: \[(pin [0-9]+),", lambda _c, t: f"{t}99", right=""),
    Slip("condition", r"condition: (no signal|colour bars)", mistype),
    Slip("source", r"source: \{id: (sheet|bench)", mistype),
    Slip("millihertz", r"value: ([0-9.]+ MHz)", replace("MHz", "mHz")),
    Slip("prefix of a frequency", r"frequency: (15.625 kHz)", replace("kHz", "MHz")),
    Slip("unit mistyped", r"(?:frequency: )([0-9.]+ kHz)", replace("kHz", "kHs")),
    Slip(
        "unit of another quantity",
        r"^ +dc: ([0-9.]+ V(?: ± [0-9.]+ %)?)$",
        replace("V", "kΩ"),
        right="",
    ),
    Slip(
        "volts for ohms",
        r"^    resistance: ([0-9.]+ k?Ω)$",
        lambda _c, t: t.split()[0] + " V",
        right="",
    ),
    Slip("unit left out", r"dc: ([0-9.]+ V ± [0-9.]+ %)", replace(" V", "")),
    Slip("percent left out", r"dc: ([0-9.]+ V ± [0-9.]+ %)", replace(" %", "")),
    Slip("decimal comma", r"^ +dc: ([0-9]+\.[0-9]+ V(?: ± [0-9.]+ %)?)$", replace(".", ",")),
    Slip("decimal comma in braces", r"dc: ([0-9]+\.[0-9]+ V ± [0-9.]+ %)(?=,)", replace(".", ",")),
    Slip("letter O", r"([0-9]+\.0 V ± [0-9]+ %)", replace(".0", ".O")),
    Slip("resistor", r"kind: resistor, value: ([0-9]k[0-9])", replace("k", "kk")),
    Slip("capacitor", r"kind: capacitor, value: (10[34])", replace("0", "O")),
    Slip("limits swapped", r"dc: ([0-9.]+ \.\. [0-9.]+ V)", swap(r"([0-9.]+) \.\. ([0-9.]+) V")),
    Slip(
        "low and high swapped",
        r"(low: ([0-9.]+ V), high: [0-9.]+ V)",
        swap(r"low: ([0-9.]+) V, high: ([0-9.]+) V"),
        right="",
        places=(1, 2),
    ),
    Slip("duty beyond 100", r"duty: ([0-9.]+ %)", write("150 %"), right=""),
    Slip("month 13", r"date: ([0-9]{4}-[0-9]{2})", lambda _c, t: t[:5] + "13", right=""),
    Slip("number of pins", r"pins: ([0-9]*1[0-9]*)(?=, pitch)", replace("1", "l")),
    Slip("pin number twice", r"^  - number: ([0-9]+)\n", lambda _c, t: str(int(t) - 1)),
    Slip(
        "part twice",
        r"- \{ref: R[0-9]+2,.*\n(?: {5}.*\n)?(?: +#.*\n)? +- \{ref: (R[0-9]+3),",
        lambda _c, t: t[:-1] + "2",
        right="",
    ),
    Slip("key twice", r"^    role: [a-z]+\n    ()[a-z]", write("role: input\n    "), right=""),
    Slip("colon left out", r"^    (role: [a-z]+)$", replace(":", "")),
    Slip("space left out", r"^    (role: [a-z]+)$", replace(": ", ":")),
    Slip(
        "quote left open",
        r'(?:function|note|means|purpose): ("[^"\n]+")',
        lambda _c, t: t[:-1],
        right='"',
    ),
    Slip(
        "bracket left open",
        r"joins: (\[[a-z0-9-]+(?: [0-9]+)?, ground\])()",
        replace("]", ""),
        right="]",
        places=(1, 2),
    ),
    Slip("tab", r"^(    )symbol: ", write("\t"), right=""),
    Slip("one space too many", r"^(    )(function): ", write("     "), right="", places=(2,)),
    Slip("one space too few", r"^(    )(function): ", write("   "), right="", places=(2,)),
    Slip(
        "required key left out",
        r"^  - ()number: [0-9]+\n(    symbol: .*\n)",
        write(""),
        right="symbol",
        altered=2,
    ),
    Slip("supply pin as input", r"^    role: (supply)$", write("input")),
    Slip("list for a mapping", r"^package: (\{.*\})$", write("[DIP, 16]"), right=""),
    Slip("word for a list", r"^markings: (\[\w+\])$", lambda _c, t: t[1:-1]),
)


def make_faulty_file(slip: Slip, seed: int) -> FaultyFile:
    """A demo chip file with ``slip`` at a place drawn by ``seed``."""
    chance = random.Random(f"{slip.name} {seed}")
    matches = [
        (text, match)
        for text in TEXTS.values()
        for match in re.finditer(slip.pattern, text, re.MULTILINE)
        if "invented" not in match[0] or slip.name == "yes"
    ]
    text, match = chance.choice(matches)
    start, end = match.span(slip.altered)
    old = match[slip.altered]
    new = slip.change(chance, old)
    moved = len(new) - len(old)
    starts = (match.start(group) for group in slip.places)
    faulty = text[:start] + new + text[end:]
    return FaultyFile(
        name=f"{slip.name} ({old.strip()} -> {new.strip()})",
        text=faulty,
        places=frozenset(find_place(faulty, i + moved if i >= end > start else i) for i in starts),
        right=slip.right.format(old) if slip.right else "",
    )


def find_place(text: str, offset: int) -> tuple[int, int]:
    """Line and column of ``offset``, both counted from 1."""
    before = text[:offset]
    return before.count("\n") + 1, offset - before.rfind("\n")
