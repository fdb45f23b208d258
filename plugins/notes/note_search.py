"""Find notes that match a text, and cases similar to the set on the bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from ...loaders import Folio
from ...loaders.words.thesaurus import load_thesaurus
from ...schema.note import Note
from ...schema.text import part_key
from .note_view import NoteView, group_revisions
from .similar_cases import BenchCase, SimilarCase, extract_terms, find_similar_cases

_MOST_TEXT: Final = 300
NOTES_ON_A_PAGE: Final = 50
_MOST_TERMS: Final = 8
_CANDIDATES: Final = 200


@dataclass(frozen=True)
class NoteSearchAnswer:
    """Matching notes, best first; similar cases; and the chips of both that the folio holds."""

    query: str
    notes: tuple[NoteView, ...]
    similar_cases: tuple[SimilarCase, ...]
    parts: dict[str, str]
    """Part number in this folio, by the chip's name in the note."""
    total: int
    """How many notes match, on all pages."""
    page: int
    """Which page of them this is, from 1."""

    @property
    def pages(self) -> int:
        """The number of pages, at least one."""
        return max(1, -(-self.total // NOTES_ON_A_PAGE))

    def document(self) -> dict[str, Any]:
        """Return the answer as plain data, for the page's ``.json``."""
        return {
            "query": self.query,
            "total": self.total,
            "page": self.page,
            "pages": self.pages,
            "notes": [view.document() for view in self.notes],
            "alike": [
                {
                    "note": case.note.id,
                    "chip": case.note.chip,
                    "at": case.note.at,
                    "symptom": case.note.symptom,
                    "cure": case.note.cure,
                    "score": round(case.score, 3),
                    "why": list(case.why),
                }
                for case in self.similar_cases
            ],
        }


def find_notes(
    folio: Folio, text: str, bench: BenchCase | None = None, page: int = 1
) -> NoteSearchAnswer:
    """Return notes that contain every word of ``text``, the newest without one, and similar cases.

    ``bench`` describes the set; without it the text is taken as the symptom. ``page`` counts from
    1; of one beyond the last, the last is returned.
    """
    query = text[:_MOST_TEXT]
    terms = _choose_terms(folio, query)
    total = folio.info.notes if terms is None else folio.count_notes(terms)
    page = max(1, min(page, -(-total // NOTES_ON_A_PAGE)))
    window = (NOTES_ON_A_PAGE, (page - 1) * NOTES_ON_A_PAGE)
    notes = folio.latest_notes(*window) if terms is None else folio.search_notes(terms, *window)
    bench = bench or BenchCase(query)
    cases = find_similar_cases(_collect_candidates(folio, bench), bench)
    chips = {note.chip for note in notes} | {case.note.chip for case in cases}
    views = group_revisions(notes, folio.proposals(notes))
    return NoteSearchAnswer(text, views, cases, _find_parts(folio, chips), total, page)


def _choose_terms(folio: Folio, query: str) -> list[list[str]] | None:
    """Return the terms to search for, without stop words if no note contains all; else None."""
    if not query.strip():
        return None
    terms = load_thesaurus().expand(query)
    return terms if folio.count_notes(terms) else extract_terms(query)


def _collect_candidates(folio: Folio, bench: BenchCase) -> list[Note]:
    """Return each note once that contains a word of the symptom or is on the chip."""
    notes: list[Note] = []
    for term in extract_terms(bench.symptom[:_MOST_TEXT])[:_MOST_TERMS]:
        notes += folio.search_notes([term], _CANDIDATES)
    if bench.chip:
        for part in _find_parts(folio, [bench.chip]).values():
            notes += folio.notes(part, tuple(bench.readings), _CANDIDATES)
    return list({note.digest: note for note in notes}.values())


def _find_parts(folio: Folio, chips: Iterable[str]) -> dict[str, str]:
    """Return the part number in the folio of each chip that just one part has as a marking."""
    marked_chips = {chip: folio.find_chips_by_key(part_key(chip)) for chip in chips}
    return {chip: marked[0].chip.part for chip, marked in marked_chips.items() if len(marked) == 1}
