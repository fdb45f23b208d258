"""The notes of the three demo shops: sound files, real places, and one of everything there is."""

from __future__ import annotations

import hashlib
from collections import Counter
from functools import cache
from pathlib import Path

import pytest
from pinfolio import data_demo
from pinfolio.data_demo import chip_files, note_files
from pinfolio.loaders.captures.capture_file import read_capture
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.attachments import prepare_attachment
from pinfolio.loaders.shop.note_files import ATTACHMENTS, format_stored_name, load_note
from pinfolio.plugins.notes.personal_data import find_personal_data
from pinfolio.plugins.readings.capture_check import CaptureCheck, check_capture
from pinfolio.plugins.readings.observed_range import compare_with_catalogue, compute_observed_ranges
from pinfolio.plugins.readings.places import find_test_point
from pinfolio.schema import Chip
from pinfolio.schema.instruments.ordinary import BUILT_IN
from pinfolio.schema.note import NOTE_KINDS, Note, find_newest, find_proposals
from pinfolio.schema.reading import Reading


@cache
def read_chips() -> dict[str, Chip]:
    return {chip.part: chip for chip in map(load_chip, chip_files())}


@cache
def read_revisions() -> dict[str, list[Note]]:
    """The revisions of each note by its id."""
    found: dict[str, list[Note]] = {}
    for note in map(load_note, note_files()):
        found.setdefault(note.id, []).append(note)
    return found


def list_revisions() -> list[Note]:
    return [note for each in read_revisions().values() for note in each]


def list_notes_at(part: str, place: str) -> list[Note]:
    return [note for note in list_revisions() if (note.chip, note.at) == (part, place)]


def test_three_shops_and_at_least_sixty_notes_of_every_kind() -> None:
    assert len(read_revisions()) >= 60
    shops = {"halvorsen-sister", "tarnbrook-niece", "fennholm-bench"}
    assert {note.shop for note in list_revisions()} == shops
    assert {note.kind for note in list_revisions()} == set(NOTE_KINDS)


def test_each_file_is_named_after_its_revision_in_the_folder_of_its_shop() -> None:
    for path in note_files():
        note = load_note(path)
        assert path.name == f"{note.id}-{note.digest[:8]}.yaml"
        assert path.parent.name == note.shop


def test_chips_places_parts_and_conditions_are_those_of_the_demo_chips() -> None:
    for note in list_revisions():
        chip = read_chips()[note.chip]
        refs = {part.ref for part in chip.application.parts}
        places = {f"pin {pin.number}" for pin in chip.pins} | {block.id for block in chip.blocks}
        places |= {node.id for node in chip.application.nodes} | refs
        assert note.at in places
        assert note.part is None or note.part in refs
        known = {condition.name for condition in chip.conditions}
        assert note.condition is None or note.condition in known


def test_nothing_in_them_looks_personal() -> None:
    assert [str(found) for note in list_revisions() for found in find_personal_data(note)] == []


def test_one_has_a_proposal_and_one_is_withdrawn() -> None:
    heads = [find_newest(each) for each in read_revisions().values()]
    assert Counter(map(len, heads)) == {1: len(heads)}
    assert sum(len(find_proposals(each)) for each in read_revisions().values()) == 1
    assert sum(note.withdrawn for each in heads for note in each) == 1


def test_captures_and_pictures_are_attached_as_the_notes_name_them() -> None:
    kept: set[str] = set()
    endings: Counter[str] = Counter()
    for path in note_files():
        for attachment in load_note(path).attachments:
            file = path.parent / ATTACHMENTS / format_stored_name(attachment)
            data = file.read_bytes()
            assert hashlib.sha256(data).hexdigest() == attachment.sha256
            assert len(data) < 60_000
            assert prepare_attachment(data, attachment.name).attachment.name == attachment.name
            assert attachment.caption
            kept.add(str(file))
            endings[file.suffix] += 1
    assert (endings[".csv"], endings[".png"], endings[".jpg"]) == (2, 1, 1)
    assert {
        str(file) for file in Path(data_demo.__file__).parent.glob("notes/*/attachments/*")
    } == kept


def test_the_captures_show_what_their_notes_tell() -> None:
    burst_key = captured("sandcastle.csv")
    assert [r for r in burst_key.remarks if r.startswith("Level burst key: 3.4")]
    assert burst_key.measured.vpp_v == pytest.approx(3.2, rel=0.03)
    oscillator = captured("line-oscillator.csv")
    assert oscillator.measured.frequency_hz == pytest.approx(489e3, rel=0.002)


def captured(name: str) -> CaptureCheck:
    """The demo's capture of this name, judged at the place of its note."""
    noted = ((path, load_note(path)) for path in note_files())
    path, note = next((p, n) for p, n in noted if name in [each.name for each in n.attachments])
    data = (path.parent / ATTACHMENTS / format_stored_name(note.attachments[0])).read_bytes()
    capture = read_capture(data, name)
    chip = read_chips()[note.chip]
    chosen = BUILT_IN.choose()
    return check_capture(
        chip, find_test_point(chip, note.at), capture, Reading(), chosen, note.condition
    )


def test_one_reading_lies_apart() -> None:
    found = compute_observed_ranges(list_notes_at("TQZ5752", "pin 13"), "no signal")["dc"]
    assert [sample.value for sample in found.outliers] == [4.86]
    assert found.shops == 3


def test_one_value_of_the_catalogue_is_not_borne_out_and_a_note_corrects_it() -> None:
    disputed = {
        (chip.part, pin.number): beside.correction
        for chip in read_chips().values()
        for pin in chip.pins
        for expectation in pin.expectations
        for beside in compare_with_catalogue(
            pin, expectation, list_notes_at(chip.part, f"pin {pin.number}")
        )
        if beside.correction
    }
    assert list(disputed) == [("TQZ5752", 49)]
    corrections = [note for note in list_revisions() if note.kind == "correction"]
    assert [(note.chip, note.at) for note in corrections] == [("TQZ5752", "pin 49")]
