"""Notes for a question: those that say it, and sets like the one on the bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from ...loaders import Folio
from ...loaders.words.thesaurus import load as load_thesaurus
from ...schema.note import Note
from ...schema.text import part_key
from .note_view import NoteView, group_revisions
from .similar_cases import BenchCase, SimilarCase, extract_terms, find_similar_cases

_MOST_TEXT: Final = 300
_MOST_NOTES: Final = 50
_MOST_TERMS: Final = 8
_CANDIDATES: Final = 200


@dataclass(frozen=True)
class NoteSearchAnswer:
    """The answer: notes, best first, sets like this one, and the chips the folio holds of them."""

    query: str
    notes: tuple[NoteView, ...]
    alike: tuple[SimilarCase, ...]
    parts: dict[str, str]
    """Part number in this folio, by the chip as a note writes it."""

    def document(self) -> dict[str, Any]:
        """As plain data, for the page's ``.json``."""
        return {
            "query": self.query,
            "notes": [shown.document() for shown in self.notes],
            "alike": [
                {
                    "note": found.note.id,
                    "chip": found.note.chip,
                    "at": found.note.at,
                    "symptom": found.note.symptom,
                    "cure": found.note.cure,
                    "score": round(found.score, 3),
                    "why": list(found.why),
                }
                for found in self.alike
            ],
        }


def find_notes(folio: Folio, text: str, bench: BenchCase | None = None) -> NoteSearchAnswer:
    """Notes that say every word of ``text``, or the newest for no text; and sets like ``bench``.

    Without a bench the text is taken for a symptom. Whatever is typed is a question.
    """
    asked = text[:_MOST_TEXT]
    notes = _search_text(folio, asked) if asked.strip() else folio.latest_notes(_MOST_NOTES)
    bench = bench or BenchCase(asked)
    near = find_similar_cases(_collect_candidates(folio, bench), bench)
    chips = {note.chip for note in notes} | {found.note.chip for found in near}
    return NoteSearchAnswer(text, group_revisions(notes), near, _find_parts(folio, chips))


def _search_text(folio: Folio, asked: str) -> list[Note]:
    """Notes that say all of it; where there is none, those that say every word that matters."""
    found = folio.search_notes(load_thesaurus().expand(asked), _MOST_NOTES)
    return found or folio.search_notes(extract_terms(asked), _MOST_NOTES)


def _collect_candidates(folio: Folio, bench: BenchCase) -> list[Note]:
    """Notes that say any word of the symptom, and those of the chip, each once."""
    found: list[Note] = []
    for term in extract_terms(bench.symptom[:_MOST_TEXT])[:_MOST_TERMS]:
        found += folio.search_notes([term], _CANDIDATES)
    if bench.chip:
        for part in _find_parts(folio, [bench.chip]).values():
            found += folio.notes(part, tuple(bench.readings), _CANDIDATES)
    return list({note.digest: note for note in found}.values())


def _find_parts(folio: Folio, chips: Iterable[str]) -> dict[str, str]:
    """The part number in the folio, for each chip that it holds just once."""
    found = {chip: folio.chips_by_key(part_key(chip)) for chip in chips}
    return {chip: marked[0].chip.part for chip, marked in found.items() if len(marked) == 1}
