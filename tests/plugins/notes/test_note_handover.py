"""A note made on a page: the command, in two shells, and the file, both checked by use."""

from __future__ import annotations

import shlex

from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.shop.new_note_file import read_new_note
from pinfolio.plugins.notes.note_handover import hand_over
from pinfolio.schema import Chip

FAULT = {
    "kind": "fault and remedy",
    "chip": "TQZ5752",
    "at": "46",
    "condition": "colour bars",
    "vpp": "none",
    "symptom": "No colour; it's black and white",
    "part": "X702",
    "cure": "New crystal",
}
SIGNED = {"id": "a" * 16, "shop": "bench-a", "author": "anna", "date": "2026-11-27"}


def test_places_and_figures_are_spelt_as_notes_spell_them(jungle: Chip) -> None:
    good = {"kind": "known-good reading", "chip": "TQZ5752", "at": "sync in", "dc": "3,4"}
    made = hand_over(good | {"condition": "Colour Bars", "vpp": "980m"}, jungle)
    assert made.note is not None
    assert (made.note.at, made.note.condition) == ("pin 13", "colour bars")
    assert made.note.readings is not None
    assert (str(made.note.readings.dc), str(made.note.readings.vpp)) == ("3.4 V", "980 mVpp")


def test_every_fault_of_the_form_is_told_by_its_field(jungle: Chip) -> None:
    made = hand_over(FAULT | {"at": "99", "dc": "much"}, jungle)
    assert made.note is None
    assert [told.partition(":")[0] for told in made.refused] == ["at", "vpp", "dc"]
    assert made.command("posix") == ()
    assert made.file_text == ""


def test_what_a_kind_of_note_still_needs_is_told(jungle: Chip) -> None:
    made = hand_over({"kind": "fault and remedy", "chip": "TQZ5752", "at": "46"}, jungle)
    assert made.refused == ("a note of kind 'fault and remedy' needs the field symptom; add it",)


def test_the_command_is_quoted_for_either_shell(jungle: Chip) -> None:
    made = hand_over({k: v for k, v in FAULT.items() if k != "vpp"} | {"seen": "missing"}, jungle)
    posix, windows = " ".join(made.command("posix")), " ".join(made.command("windows"))
    assert shlex.split(posix)[:5] == ["pinfolio", "note", "add", "TQZ5752", "pin 46"]
    assert FAULT["symptom"] in shlex.split(posix)
    # Within single quotes PowerShell reads nothing but a doubled quote (about_Quoting_Rules).
    assert "--symptom 'No colour; it''s black and white'" in windows
    assert hand_over(FAULT | {"vpp": "", "cure": 'a "new" one'}, jungle).command("windows") == ()


def test_the_file_is_taken_in_as_it_was_made(jungle: Chip) -> None:
    made = hand_over(FAULT | {"vpp": "", "seen": "missing"}, jungle)
    assert made.file_name == "TQZ5752-46.note.yaml"
    assert not {"id", "shop", "author", "date"} & {
        line.partition(":")[0] for line in made.file_text.splitlines()
    }
    taken = read_new_note(made.file_text.encode(), made.file_name, SIGNED)
    assert (taken.shop, taken.date) == ("bench-a", "2026-11-27")
    assert (taken.at, taken.part, taken.cure) == ("pin 46", "X702", "New crystal")


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"])))
def test_any_text_comes_through_command_and_file(text: str) -> None:
    made = hand_over({"kind": "remark", "chip": "QZ1", "at": "1", "text": f"x{text}x"}, None)
    if made.note is None:  # marks that turn the direction of text are refused
        return
    assert shlex.split(" ".join(made.command("posix")))[-1] == made.note.text
    taken = read_new_note(made.file_text.encode(), "made", SIGNED)
    assert taken.text == made.note.text
