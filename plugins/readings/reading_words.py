"""The words that a reading may hold, and their synonyms, from ``reading_words.yaml``."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, NamedTuple


class ReadingWords(NamedTuple):
    """Synonyms and their meanings; keys are folded to lower case."""

    seen: dict[str, str]
    """``jumping`` -> ``unstable``."""
    right: frozenset[str]
    steady: frozenset[str]
    skip: frozenset[str]
    verdicts: dict[str, str]
    """``weak`` -> ``too low``."""
    part: dict[str, str]
    """``leaks`` -> ``leaky``."""

    @property
    def listed(self) -> str:
        """The words to show where one was not understood."""
        return ", ".join(["ok", "none", *dict.fromkeys(self.seen.values()), "jumping", "skip"])

    @property
    def listed_of_a_part(self) -> str:
        """The words for a part out of circuit."""
        return ", ".join(dict.fromkeys(self.part.values()))


@cache
def reading_words() -> ReadingWords:
    """Return the words that come with the package."""
    import yaml

    text = Path(__file__).with_suffix(".yaml").read_text(encoding="utf-8")
    data: dict[str, Any] = yaml.load(text, Loader=yaml.CSafeLoader)
    verdicts = {name: data[name] for name in ("too low", "too high", "off frequency")}
    return ReadingWords(
        seen=_read_meanings(data["seen"]),
        right=frozenset(data["right"]),
        steady=frozenset(data["steady"]),
        skip=frozenset(data["skip"]),
        verdicts=_read_meanings(verdicts),
        part=_read_meanings(data["part"]),
    )


def _read_meanings(synonyms: dict[str, list[str]]) -> dict[str, str]:
    """Return the meaning of each word and synonym; a word means itself."""
    own = {word: word for word in synonyms}
    return {other: word for word, others in synonyms.items() for other in others} | own
