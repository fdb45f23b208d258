"""A catalogue of invented chips of any size, the same at every call, for measuring.

Numbers are those of such catalogues: about forty pins a chip on average, DC in one condition or
two, a signal on every third pin, families of parts that differ by a suffix. Words come as often
as words do (Zipf's law): a few are on every chip, most on hardly any. A smaller catalogue is the
beginning of a larger one.

    python tests/benchmarks/catalogue.py 1000 > catalogue.jsonl
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import sys
import tempfile
from bisect import bisect
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import accumulate, count, islice
from pathlib import Path
from typing import Any, Final

from catalogue_waveforms import draw_floating_waveform, draw_standing_waveform
from catalogue_words import (
    CONDITION_MEANINGS,
    KINDS,
    MAKERS,
    QUALIFIERS,
    SIGNALS,
    STAGES,
    make_rare_word,
)
from pinfolio.schema import Chip

SEED: Final = 1956
_RARE_WORDS: Final = 50_000
# How many chips of a thousand come in each package: families and pin counts in common use.
_PACKAGES: Final = {
    ("DIP", 8): 20, ("DIP", 14): 20, ("DIP", 16): 70, ("DIP", 18): 25, ("DIP", 20): 30,
    ("DIP", 24): 65, ("DIP", 28): 100, ("DIP", 40): 45, ("SIP", 7): 15, ("SIP", 9): 20,
    ("SIP", 12): 20, ("SO", 16): 20, ("SO", 28): 30, ("SDIP", 30): 60, ("SDIP", 42): 75,
    ("SDIP", 48): 75, ("SDIP", 52): 80, ("SDIP", 54): 25, ("SDIP", 56): 55, ("SDIP", 64): 60,
    ("QFP", 48): 20, ("QFP", 64): 30, ("QFP", 80): 30, ("QFP", 100): 25,
}  # fmt: skip
_SUFFIXES: Final = ("", "A", "N", "B", "P", "AN", "S", "F", "C", "V1", "H", "D")
_SYSTEMS: Final = (["PAL-B/G"], ["NTSC-M"], ["PAL-B/G", "NTSC-M"], ["PAL-I"], [])
_SUPPLIES: Final = (9.0, 12.0, 5.0, 8.0)
_TOLERANCES: Final = ("", "", "", " ± 5 %", " ± 10 %")
_LEADS: Final = ("12 kΩ", "8.4 kΩ", "5.6 kΩ", "22 kΩ", "1.8 kΩ", "47 kΩ", "820 Ω")

Fields = dict[str, Any]


class Zipf:
    """Draws from a list so that the n-th comes about 1/n as often as the first."""

    def __init__(self, among: Sequence[Any]) -> None:
        self._among = among
        self._sums = list(accumulate(1 / (rank + 2) for rank in range(len(among))))

    def draw(self, chance: random.Random) -> Any:
        """One of the list."""
        return self._among[bisect(self._sums, chance.random() * self._sums[-1])]


_MAKER, _KIND, _SIGNAL, _QUALIFIER = map(Zipf, (MAKERS, KINDS, SIGNALS, QUALIFIERS))
_SYSTEM, _SUFFIX, _SUPPLY = map(Zipf, (_SYSTEMS, _SUFFIXES, _SUPPLIES))
_PACKAGE_SUMS: Final = list(accumulate(_PACKAGES.values()))
_RARE: Final = Zipf(range(_RARE_WORDS))


def generate_chips(chips: int, seed: int = SEED) -> Iterator[Chip]:
    """Yield this number of invented chips."""
    return map(Chip.model_validate, _generate_documents(chips, seed))


def generate_json_lines(chips: int, seed: int = SEED) -> Iterator[bytes]:
    """Yield this number of chips as JSON as a folio spells it, each a line with its newline."""
    spelt = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
    return (spelt(document).encode() + b"\n" for document in _generate_documents(chips, seed))


@cache
def write_catalogue_file(chips: int) -> Path:
    """The catalogue as a file of JSON Lines, kept from one run to the next."""
    path = _locate_kept_folder() / f"catalogue-{chips}.jsonl"
    if not path.exists():
        new = path.with_suffix(f".{os.getpid()}")
        with new.open("wb") as file:
            file.writelines(generate_json_lines(chips))
        new.replace(path)
    return path


@cache
def build_catalogue_folio(chips: int) -> Path:
    """The catalogue as a folio, kept from one run to the next while its builder is the same."""
    from pinfolio.loaders.folio.build import build_folio

    path = _locate_kept_folder() / f"catalogue-{chips}-{_digest_loaders()}.db"
    if not path.exists():
        build_folio([write_catalogue_file(chips)], path)
    return path


def _locate_kept_folder() -> Path:
    written = b"".join(path.read_bytes() for path in sorted(Path(__file__).parent.glob("cata*.py")))
    digest = hashlib.sha256(written).hexdigest()[:8]
    folder = Path(tempfile.gettempdir()) / f"pinfolio-catalogue-{digest}"
    folder.mkdir(exist_ok=True)
    return folder


def _digest_loaders() -> str:
    from pinfolio import loaders

    folder = Path(str(loaders.__file__)).parent
    parts = sorted([*folder.glob("build*.py"), *folder.glob("folio_*")])
    return hashlib.sha256(b"".join(part.read_bytes() for part in parts)).hexdigest()[:8]


def _generate_documents(chips: int, seed: int) -> Iterator[Fields]:
    chance = random.Random(seed)
    taken: dict[str, int] = {}
    families = (_generate_family(chance, taken) for _ in count())
    return islice((chip for family in families for chip in family), chips)


def _generate_family(chance: random.Random, taken: dict[str, int]) -> Iterator[Fields]:
    """Parts of one maker that differ by their suffixes, each somewhat otherwise connected."""
    maker, prefixes = _MAKER.draw(chance)
    base = f"{chance.choice(prefixes)}{chance.randint(1000, 9999)}"
    while base in taken:
        base = f"{chance.choice(prefixes)}{chance.randint(1000, 99999)}"
    kind, stage = _KIND.draw(chance)
    family, pins = chance.choices(list(_PACKAGES), cum_weights=_PACKAGE_SUMS)[0]
    suffixes = list(dict.fromkeys(_SUFFIX.draw(chance) for _ in range(chance.choice((1, 1, 2, 4)))))
    taken[base] = len(suffixes)
    for suffix in suffixes:
        others = [{"part": base + other} for other in suffixes if other != suffix]
        yield _make_chip(chance, base + suffix, maker, (kind, stage), (family, pins), others)


def _make_chip(
    chance: random.Random,
    part: str,
    maker: str,
    kind: tuple[str, int],
    package: tuple[str, int],
    others: list[Fields],
) -> Fields:
    pins = package[1]
    systems = _SYSTEM.draw(chance)
    supply_v = _SUPPLY.draw(chance)
    fed = [pins] if pins < 30 else [pins // 3, pins]
    grounds = [pins // 2] if pins < 42 else [pins // 2, pins // 2 + 7]
    around = [(kind[1] + chance.randint(-2, 12)) % len(STAGES) for _ in range(2 + pins // 4)]
    stages = [STAGES[at] for at in dict.fromkeys(around)]
    conditions = CONDITION_MEANINGS[: chance.choice((1, 2, 2))]
    drawn = _Pins(chance, stages, supply_v, systems[0] if systems else "PAL-B/G", len(conditions))
    described = [
        drawn.supply(number)
        if number in fed
        else drawn.ground(number)
        if number in grounds
        else drawn.signal(number)
        for number in range(1, pins + 1)
    ]
    fields: Fields = {"part": part, "maker": maker, "kind": kind[0]}
    fields["summary"] = _write_summary(chance, kind[0], stages, systems)
    fields["invented"] = True
    if systems:
        fields["systems"] = systems
    fields["package"] = {"family": package[0], "pins": pins}
    fields["markings"] = _make_markings(chance, part)
    if others:
        fields["similar"] = others
    voltage = f"{supply_v:g} V{chance.choice(('', ' ± 5 %', ' ± 10 %'))}"
    fields["supplies"] = [
        {"name": "VCC", "pins": fed, "voltage": voltage, "current": f"{chance.randint(5, 90)} mA"}
    ]
    title = f"{part} data sheet (invented)"
    fields["sources"] = [{"id": "sheet", "kind": "data sheet", "title": title}]
    fields["conditions"] = [{"name": name, "means": means} for name, means in conditions]
    fields["blocks"] = _make_blocks(chance, stages, drawn.at_stage)
    fields["pins"] = described
    return fields


def _write_summary(
    chance: random.Random, kind: str, stages: list[tuple[str, str]], systems: list[str]
) -> str:
    said = ", ".join(name for name, _ in stages[:4])
    begun = chance.choice(("One-chip", "Low-voltage", "Bus-controlled", "Second-generation"))
    works = f" for {' and '.join(systems)}" if systems else ""
    rare = make_rare_word(_RARE.draw(chance))
    return f"{begun} {kind} with {said}{works}, {rare} series. Invented example."


def _make_markings(chance: random.Random, part: str) -> list[str]:
    markings = [f"{part}-{chance.choice(('E', 'T', 'X'))}"]
    if chance.random() < 0.3:
        markings.append(f"{chance.randrange(10, 99)}-{chance.randrange(10**5):05}")
    return markings


def _make_blocks(
    chance: random.Random, stages: list[tuple[str, str]], at_stage: dict[str, list[int]]
) -> list[Fields]:
    """The stages that have pins, each leading to the next."""
    names = [name for name, _ in stages if name in at_stage][:9]
    ids = [name.lower().replace(" ", "-") for name in names]
    blocks: list[Fields] = []
    for place, name in enumerate(names):
        block: Fields = {"id": ids[place], "name": name}
        block["inputs"] = [f"pin {pin}" for pin in at_stage[name][:3]]
        if place + 1 < len(names):
            block["outputs"] = [ids[place + 1]]
        blocks.append(block)
    return blocks


class _Pins:
    """Draws the pins of one chip."""

    def __init__(
        self,
        chance: random.Random,
        stages: list[tuple[str, str]],
        supply_v: float,
        system: str,
        conditions: int,
    ) -> None:
        self._chance, self._supply_v, self._system = chance, supply_v, system
        self._stages = Zipf(stages)
        self._conditions = [name for name, _ in CONDITION_MEANINGS[:conditions]]
        self._used: dict[str, int] = {}
        self.at_stage: dict[str, list[int]] = {}

    def supply(self, number: int) -> Fields:
        """A pin that a supply enters at."""
        shown = [self._shown(self._conditions[0], f"{self._supply_v:g} V")]
        return self._pin(number, "VCC", "supply voltage", "supply", shown)

    def ground(self, number: int) -> Fields:
        """A ground pin."""
        return self._pin(number, "GND", "ground", "ground", [self._shown("colour bars", "0 V")])

    def signal(self, number: int) -> Fields:
        """A pin of one of the stages."""
        chance = self._chance
        if chance.random() < 0.02:
            return self._pin(number, "NC", "not connected", "unused", [])
        stage, short = self._stages.draw(chance)
        signal, ending, role, moves = _SIGNAL.draw(chance)
        self.at_stage.setdefault(stage, []).append(number)
        function = f"{stage} {signal}"
        if (more := chance.random()) < 0.2:
            function += f", {_QUALIFIER.draw(chance)}"
        elif more < 0.25:
            function += f", {make_rare_word(_RARE.draw(chance))}"
        shows = self._expectations(moves * 0.01)
        return self._pin(number, f"{short} {ending}", function, role, shows)

    def _expectations(self, moves: float) -> list[Fields]:
        """Figures of the pin; the signal is there with colour bars, and gone without."""
        chance = self._chance
        dc_v = round(chance.uniform(0.08, 0.92) * self._supply_v, 1)
        dc, waveform = f"{dc_v} V", None
        if chance.random() < moves:
            if chance.random() < 0.25 and self._supply_v >= 5:
                waveform, dc = draw_standing_waveform(chance, self._system)
            else:
                room_v = min(dc_v, self._supply_v - dc_v)
                waveform = draw_floating_waveform(chance, room_v, self._system)
        shows = [self._shown("colour bars", dc + chance.choice(_TOLERANCES), waveform)]
        for condition in self._conditions[1:]:
            otherwise = f"{round(chance.uniform(0.08, 0.92) * self._supply_v, 1)} V"
            shows.append(self._shown(condition, chance.choice((dc, otherwise))))
        return shows

    def _shown(self, condition: str, dc: str, waveform: Fields | None = None) -> Fields:
        shown: Fields = {"condition": condition, "dc": dc}
        if waveform is not None:
            shown["waveform"] = waveform
        if self._chance.random() < 0.12:
            shown["resistance"] = {
                "red_on_pin": self._chance.choice(_LEADS),
                "black_on_pin": self._chance.choice(_LEADS),
            }
        shown["source"] = {"id": "sheet", "page": self._chance.randint(3, 12)}
        return shown

    def _pin(
        self, number: int, symbol: str, function: str, role: str, shows: list[Fields]
    ) -> Fields:
        times = self._used[symbol] = self._used.get(symbol, 0) + 1
        pin: Fields = {"number": number, "symbol": symbol if times == 1 else f"{symbol}{times}"}
        pin |= {"function": function, "role": role}
        if role == "input" and self._chance.random() < 0.3:
            pin["resistance"] = self._chance.choice(_LEADS)
        if shows:
            pin["expectations"] = shows
        return pin


if __name__ == "__main__":
    sys.stdout.buffer.writelines(generate_json_lines(int(sys.argv[1])))
