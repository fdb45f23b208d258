"""The trade's words for the same thing: what a technician types, widened to what a sheet says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from itertools import product
from pathlib import Path

from .full_text_query import words

Phrase = tuple[str, ...]
"""Words of a wording, small, in the singular and in British spelling."""

_MOST_WORDS = 200  # what is typed beyond this is not looked at


class Thesaurus:
    """Groups of wordings that may stand for each other, and words that are spelt two ways."""

    def __init__(self, groups: Iterable[Sequence[str]], spellings: Iterable[Sequence[str]]) -> None:
        self._british: dict[str, str] = {}
        self._spellings: dict[str, tuple[str, ...]] = {}
        for pair in spellings:
            self._british |= dict.fromkeys(pair, pair[0])
            self._spellings[pair[0]] = tuple(pair)
        self._groups: dict[Phrase, list[str]] = {}
        for group in groups:
            for wording in group:
                self._groups.setdefault(self._phrase(words(wording)), []).extend(group)
        self._longest = max(map(len, self._groups), default=1)

    def expand(self, text: str) -> list[list[str]]:
        """Each word, or known phrase, of ``text`` with the wordings it may stand for.

        The longest known phrase goes first, case and either spelling do not matter, and the
        typed wording leads its list; a plural is joined by its singular.

        >>> load().expand("Color killers")
        [['Color killers', 'colour killer', 'color killer', 'ACK', 'automatic colour killer', \
'automatic color killer', 'chroma killer', 'killer']]
        """
        typed = words(text)[:_MOST_WORDS]
        terms: list[list[str]] = []
        while typed:
            length = self._known_length(typed)
            terms.append(self._wordings(typed[:length]))
            del typed[:length]
        return terms

    def _known_length(self, typed: list[str]) -> int:
        """How many of the first words make the longest known phrase; 1 when none does."""
        lengths = range(min(self._longest, len(typed)), 0, -1)
        return next((n for n in lengths if self._phrase(typed[:n]) in self._groups), 1)

    def _phrase(self, wording: Iterable[str]) -> Phrase:
        return tuple(map(self._plain, wording))

    def _plain(self, word: str) -> str:
        """A word small, in the singular and in British spelling."""
        small = _singular(word.lower())
        return self._british.get(small, small)

    def _wordings(self, typed: Sequence[str]) -> list[str]:
        """The typed words, their other spellings, then what else their groups hold."""
        found = [" ".join(typed), *self._spelt(typed)]
        for wording in self._groups.get(self._phrase(typed), ()):
            found += self._spelt(words(wording))
        once: dict[str, str] = {}
        for wording in found:
            once.setdefault(wording.lower(), wording)
        return list(once.values())

    def _spelt(self, wording: Iterable[str]) -> Iterator[str]:
        """A wording in every spelling of its words, each in the singular."""
        choices = []
        for word in wording:
            plain = self._plain(word)
            choices.append(self._spellings.get(plain, (word if plain == word.lower() else plain,)))
        return (" ".join(choice) for choice in product(*choices))


def _singular(word: str) -> str:
    """``pulses`` -> ``pulse``; the search finds the plural, since it begins like this."""
    plural = len(word) > 4 and word[-1] == "s" and word[-2] not in "sui"
    return word[:-1] if plural else word


def read_wordings(name: str) -> list[list[str]]:
    """Return the lines of a text file beside this module, each as its wordings."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return [line.split(", ") for line in lines if line and not line.startswith("#")]


@cache
def load() -> Thesaurus:
    """Return the thesaurus that comes with the package."""
    return Thesaurus(read_wordings("synonyms.txt"), read_wordings("spellings.txt"))
