"""Expand typed words by the trade's other words for the same thing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from itertools import product
from pathlib import Path

from .full_text_query import split_words

Phrase = tuple[str, ...]
"""Words of a wording in normal form: lower case, singular, British spelling."""

_MOST_WORDS = 200  # further words are ignored


class Thesaurus:
    """Groups of wordings with the same meaning, and words with two spellings."""

    def __init__(self, groups: Iterable[Sequence[str]], spellings: Iterable[Sequence[str]]) -> None:
        self._british: dict[str, str] = {}
        self._spellings: dict[str, tuple[str, ...]] = {}
        for pair in spellings:
            self._british |= dict.fromkeys(pair, pair[0])
            self._spellings[pair[0]] = tuple(pair)
        self._groups: dict[Phrase, list[str]] = {}
        for group in groups:
            for wording in group:
                self._groups.setdefault(self._phrase(split_words(wording)), []).extend(group)
        self._longest = max(map(len, self._groups), default=1)

    def expand(self, text: str) -> list[list[str]]:
        """Return the wordings of each word or known phrase of ``text``.

        The longest known phrase wins; case and spelling are ignored. Each list begins with the
        typed wording; the singular is added to a plural.

        >>> load_thesaurus().expand("Color killers")
        [['Color killers', 'colour killer', 'color killer', 'ACK', 'automatic colour killer', \
'automatic color killer', 'chroma killer', 'killer']]
        """
        remaining_words = split_words(text)[:_MOST_WORDS]
        wordings_of_terms: list[list[str]] = []
        while remaining_words:
            length = self._phrase_length(remaining_words)
            wordings_of_terms.append(self._list_wordings(remaining_words[:length]))
            del remaining_words[:length]
        return wordings_of_terms

    def _phrase_length(self, typed: list[str]) -> int:
        """Return how many of the first words form the longest known phrase; 1 if none do."""
        lengths = range(min(self._longest, len(typed)), 0, -1)
        return next((n for n in lengths if self._phrase(typed[:n]) in self._groups), 1)

    def _phrase(self, wording: Iterable[str]) -> Phrase:
        return tuple(map(self._normalise, wording))

    def _normalise(self, word: str) -> str:
        """Return the normal form of a word."""
        singular = _make_singular(word.lower())
        return self._british.get(singular, singular)

    def _list_wordings(self, typed: Sequence[str]) -> list[str]:
        """Return the typed words, their other spellings, then all wordings of their groups."""
        wordings = [" ".join(typed), *self._spell(typed)]
        for wording in self._groups.get(self._phrase(typed), ()):
            wordings += self._spell(split_words(wording))
        unique: dict[str, str] = {}
        for wording in wordings:
            unique.setdefault(wording.lower(), wording)
        return list(unique.values())

    def _spell(self, wording: Iterable[str]) -> Iterator[str]:
        """Yield a wording in every spelling of its words, each in the singular."""
        choices = []
        for word in wording:
            normal = self._normalise(word)
            unchanged = word if normal == word.lower() else normal
            choices.append(self._spellings.get(normal, (unchanged,)))
        return (" ".join(choice) for choice in product(*choices))


def _make_singular(word: str) -> str:
    """Return ``pulse`` for ``pulses``; the prefix search still finds the plural."""
    is_plural = len(word) > 4 and word[-1] == "s" and word[-2] not in "sui"
    return word[:-1] if is_plural else word


def read_wordings(name: str) -> list[list[str]]:
    """Return the lines of a text file beside this module, each as its wordings."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return [line.split(", ") for line in lines if line and not line.startswith("#")]


@cache
def load_thesaurus() -> Thesaurus:
    """Return the thesaurus that comes with the package."""
    return Thesaurus(read_wordings("synonyms.txt"), read_wordings("spellings.txt"))
