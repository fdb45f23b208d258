"""Personal data in a note is found; everyday bench words are not mistaken for it."""

from __future__ import annotations

import pytest
from pinfolio.plugins.notes.personal_data import find_personal_data
from pinfolio.schema.note import Note


def make_remark(text: str, **more: object) -> Note:
    fields: dict[str, object] = {"id": "a" * 16, "kind": "remark", "shop": "s", "author": "a"}
    fields |= {"date": "2026-03-02", "chip": "TQZ5752", "at": "pin 13", "text": text}
    return Note.model_validate(fields | more)


# Numbers that regulators keep for fiction (Ofcom 020 7946 0xxx, NANP 555-01xx) and the mail
# domains of RFC 2606; the streets are invented.
@pytest.mark.parametrize(
    ("text", "what", "found"),
    [
        ("owner on +44 20 7946 0958, evenings", "telephone number", "+44 20 7946 0958"),
        ("(020) 7946 0958", "telephone number", "(020) 7946 0958"),
        ("555 number 212-555-0147.", "telephone number", "212-555-0147"),
        ("call him: 555 0142", "telephone number", "call him: 555 0142"),
        ("write to bench.two+tv@example.org", "mail address", "bench.two+tv@example.org"),
        ("back to 12 Quarry Mill Lane", "street address", "12 Quarry Mill Lane"),
        ("to 9 Thorn Park Drive,", "street address", "9 Thorn Park Drive"),
        ("from Mühlenstraße 7 again", "street address", "Mühlenstraße 7"),
        ("Serial no. 4711-0815", "serial number", "Serial no. 4711-0815"),
        ("S/N: KX00123", "serial number", "S/N: KX00123"),
    ],
)
def test_what_leads_to_somebody_is_found(text: str, what: str, found: str) -> None:
    (warning,) = find_personal_data(make_remark(text))
    assert (warning.field, warning.kind, warning.found) == ("text", what, found)
    assert str(warning) == f"text: {found!r} looks like a {what}"


@pytest.mark.parametrize(
    "text",
    [
        "3.1 V at pin 13, 15.625 kHz, 4.43361875 MHz, 0.047 µF, 100-220 kΩ",
        "Replaced C418 (8p2) by 10p C0G; R402 reads 47k. 2026-03-02.",
        "TQZ5752 rev 3, sheet of 1996-04, page 7; scope at 5 µs/div, 500 mV/div",
        "serial data at pins 3 and 4; 12 V road noise; 60 Hz way too high, 50 Hz field drive low",
        "0.2 V 0.3 V 0.4 V, then 1/2 turn of VR1, 10 of 12 sets",
        "ring the line transformer: 8 rings, good",
        "0 V to 12 V in 20 ms; 25 kV at 1.2 mA",
    ],
)
def test_bench_talk_passes(text: str) -> None:
    assert find_personal_data(make_remark(text)) == ()


def test_every_text_of_a_note_is_looked_at() -> None:
    mail = "me@example.com"
    picture = {"name": "a.png", "sha256": "0" * 64, "caption": mail}
    note = make_remark(mail, chassis=mail, symptom=mail, cure=mail, attachments=[picture])
    fields = [warning.field for warning in find_personal_data(note)]
    assert fields == ["chassis", "symptom", "cure", "text", "caption"]
