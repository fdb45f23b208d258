"""Sets like this: rare words weigh more, near readings count, the same chassis helps."""

from __future__ import annotations

from pinfolio.plugins.notes.similar_cases import BenchCase, find_similar_cases
from pinfolio.schema.note import Note, Readings


def make_fault(letter: str, symptom: str, dc: str | None = None, **more: object) -> Note:
    fields: dict[str, object] = {"id": letter * 16, "kind": "fault and remedy", "shop": "s"}
    fields |= {"author": "a", "date": "2026-03-02", "chip": "TQZ5752", "at": "pin 13"}
    fields |= {"symptom": symptom, "cure": "New part fitted."}
    readings = {"readings": {"dc": dc}} if dc else {}
    return Note.model_validate(fields | readings | more)


NOTES = [
    make_fault("a", "No colour, picture otherwise good", "0.2 V"),
    make_fault("b", "Picture rolls slowly", "3.1 V"),
    make_fault("c", "Picture tears at the top", "1.4 V", chassis="Morvane P14"),
    make_fault("d", "Snowy picture on every channel", at="pin 4"),
]


def list_ids(bench: BenchCase) -> list[str]:
    return [found.note.id[0] for found in find_similar_cases(NOTES, bench)]


def test_words_of_the_symptom() -> None:
    assert list_ids(BenchCase("picture tears")) == ["c"]


def test_words_of_the_trade_find_each_other() -> None:
    assert list_ids(BenchCase("no color"))[0] == "a"


def test_a_word_that_every_note_says_does_not_make_sets_alike() -> None:
    assert "a" not in list_ids(BenchCase("picture rolls"))


def test_near_readings_at_the_same_pin_of_the_same_chip() -> None:
    read = {"pin 13": Readings.model_validate({"dc": "1.5 V"})}
    assert list_ids(BenchCase(chip="tqz-5752", readings=read)) == ["c"]
    assert list_ids(BenchCase(chip="KYE1916", readings=read)) == []
    assert list_ids(BenchCase(chip="TQZ5752", readings={"pin 4": read["pin 13"]})) == []


def test_words_and_readings_together_say_why() -> None:
    read = {"pin 13": Readings.model_validate({"dc": "1.5 V"})}
    bench = BenchCase("tears", "TQZ5752", "morvane p14", read)
    (first, *_) = find_similar_cases(NOTES, bench)
    assert first.why == ("symptom: tears", "dc at pin 13", "chassis Morvane P14")
    assert first.score > find_similar_cases(NOTES, BenchCase("tears"))[0].score


def test_nothing_known_finds_nothing() -> None:
    assert find_similar_cases(NOTES, BenchCase()) == ()
