"""JSON Lines: a chip a line, each fault with file, line, the text found and the form expected."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.chip_file import chip_to_yaml
from pinfolio.loaders.chip_files.chip_stream import (
    InvalidRecord,
    Record,
    count_records,
    read_records,
)
from pinfolio.loaders.chip_files.json_lines import read_json_line
from pinfolio.loaders.errors import ChipFileError, Fault
from pinfolio.loaders.folio.build import build_folio, build_from_chips
from pinfolio.loaders.folio.folio import FolioError, open_folio
from pinfolio.loaders.folio.packed_document import unpack_document
from pinfolio.loaders.folio.prepared_chip import prepare
from pinfolio.schema import Chip

ChipMaker = Callable[..., Chip]


def write_lines(path: Path, *given: Chip | bytes) -> Path:
    """A file with a chip, or the given text, on each line."""
    told = [each if isinstance(each, bytes) else each.document().encode() for each in given]
    path.write_bytes(b"".join(line + b"\n" for line in told))
    return path


def list_faults(data: bytes) -> tuple[Fault, ...]:
    with pytest.raises(ChipFileError) as refused:
        read_json_line(data, "x.jsonl", 7)
    return refused.value.faults


def change_line(chip: Chip, **fields: Any) -> bytes:
    return json.dumps(json.loads(chip.document()) | fields).encode()


def test_json_lines_make_the_folio_that_chip_files_make(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    chips = [invented_chip(part) for part in ("AB12", "QZ5710", "QZ5712")]
    (tmp_path / "chips").mkdir()
    for chip in chips:
        text = chip_to_yaml(chip)
        (tmp_path / "chips" / f"{chip.part}.yaml").write_text(text, encoding="utf-8")
    from_files = build_folio([tmp_path / "chips"], tmp_path / "a.db")
    from_lines = build_folio([write_lines(tmp_path / "all.jsonl", *chips)], tmp_path / "b.db")
    assert from_lines.digest == from_files.digest
    with open_folio(tmp_path / "b.db") as folio:
        assert list(folio.chips()) == chips


def test_files_of_both_kinds_may_stand_in_a_folder(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    folder = tmp_path / "shelf"
    folder.mkdir()
    (folder / "one.yaml").write_text(chip_to_yaml(invented_chip("AB12")), encoding="utf-8")
    write_lines(folder / "more.jsonl", invented_chip("QZ5710"), b"", invented_chip("QZ5712"))
    assert build_folio([folder], tmp_path / "folio.db").chips == 3


def test_blank_lines_do_not_count_as_chips_but_as_lines(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    path = write_lines(
        tmp_path / "a.jsonl", invented_chip("AB12"), b"  ", b"", invented_chip("QZ5710")
    )
    found = list(read_records([path]))
    assert [(each.line, each.file) for each in found if isinstance(each, Record)] == [
        (1, str(path)),
        (4, str(path)),
    ]
    assert count_records([path]) == 4


def test_a_last_line_without_an_end_is_a_line(tmp_path: Path, invented_chip: ChipMaker) -> None:
    path = write_lines(tmp_path / "a.jsonl", invented_chip("AB12"), invented_chip("QZ5710"))
    path.write_bytes(path.read_bytes().rstrip())
    assert count_records([path]) == len(list(read_records([path]))) == 2


def test_a_wrong_word_is_named_with_line_column_and_the_nearest_right_one(
    invented_chip: ChipMaker,
) -> None:
    line = invented_chip().document().replace('"kind":"jungle"', '"kind":"jungel"')
    (fault,) = list_faults(line.encode())
    assert (fault.file, fault.line, fault.column) == ("x.jsonl", 7, line.index('"jungel"') + 1)
    assert (fault.found, fault.write) == ("'jungel'", "jungle")


def test_a_broken_rule_is_named_as_in_a_chip_file(invented_chip: ChipMaker) -> None:
    line = invented_chip().document().replace('"condition":"colour bars"', '"condition":"bars"')
    assert {fault.rule for fault in list_faults(line.encode())} == {"references-exist"}


@pytest.mark.parametrize(
    ("data", "found", "expected"),
    [
        (b'{"part": "A"', "the end of the line", "',': one chip as JSON on the line"),
        (b"{'part': 'A'}", "''part': 'A'", "property name enclosed in double quotes: one chip"),
        (b'{"part": "A', "'\"A'", "a text with its closing quote: one chip as JSON"),
        (b'{"part": "A\tB"}', "'\tB\"}'", "a text without control characters: one chip as JSON"),
        (b'{"part": "\\x"}', "'\\x\"}'", "an escape that JSON has, such as \\n: one chip"),
        (b"{} {}", "'{}'", "nothing more: one chip as JSON"),
        (b"part: A", "'part: A'", "value: one chip as JSON on the line"),
        (b"[]", "a list", "a map of keys"),
        (b'"AB12"', "plain text", "a map of keys"),
        (b'{"part": "\xff"}', "the byte 0xff, which is not UTF-8", "UTF-8"),
        (b"[" * 5000, "very deep nesting", "one chip as JSON on the line"),
        (b'{"part": "A' + b" " * 2_000_000, "more than 2,000,000 bytes", "one chip as JSON"),
    ],
)
def test_what_is_no_chip_is_one_clear_fault(data: bytes, found: str, expected: str) -> None:
    (fault,) = list_faults(data)
    assert (fault.line, fault.found) == (7, found)
    assert fault.expected.startswith(expected)


def test_a_key_given_twice_is_refused_although_the_chip_would_read(
    invented_chip: ChipMaker,
) -> None:
    line = invented_chip().document().replace('"maker":', '"maker":"Another","maker":')
    (fault,) = list_faults(line.encode())
    assert (fault.found, fault.expected) == ("'maker' twice in one place", "each key once")


def test_a_line_may_be_spelt_otherwise_than_a_folio_spells_it(invented_chip: ChipMaker) -> None:
    chip = invented_chip()
    spelt = json.dumps(json.loads(chip.document()), indent=None, sort_keys=True).encode()
    read, document = read_json_line(spelt, "x.jsonl", 1)
    assert (read, document) == (chip, chip.document())


def test_a_line_beyond_all_measure_is_not_read_into_memory(
    tmp_path: Path, invented_chip: ChipMaker
) -> None:
    path = write_lines(tmp_path / "a.jsonl", b"x" * 9_000_000, invented_chip("AB12"))
    first, second = read_records([path])
    assert isinstance(first, Record)
    assert len(first.data) == 2_000_001
    assert isinstance(second, Record)
    assert second.line == 2


def test_a_part_twice_names_both_lines(tmp_path: Path, invented_chip: ChipMaker) -> None:
    path = write_lines(tmp_path / "a.jsonl", invented_chip("AB12"), invented_chip("ab-12"))
    with pytest.raises(ChipFileError) as refused:
        build_folio([path], tmp_path / "folio.db")
    (fault,) = refused.value.faults
    assert (fault.line, fault.found) == (2, f"part ab-12, which {path}:1 describes already")


def test_a_file_that_goes_away_is_named(tmp_path: Path) -> None:
    (refused,) = read_records([tmp_path / "gone.jsonl"])
    assert isinstance(refused, InvalidRecord)
    assert refused.faults[0].found == "a file that cannot be read (No such file or directory)"


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60) | st.text(max_size=60).map(lambda text: text.encode()))
def test_no_line_is_an_unexpected_error(data: bytes) -> None:
    assert all(fault.line == 7 for fault in list_faults(data))


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_damaged_line_is_named_or_still_a_chip(
    invented_chip: ChipMaker, data: st.DataObject
) -> None:
    line = bytearray(invented_chip().document().encode())
    at = data.draw(st.integers(0, len(line) - 1))
    line[at] = data.draw(st.integers(0, 255))
    made = prepare(Record("x.jsonl", bytes(line), 7))
    if isinstance(made, InvalidRecord):
        assert all(fault.line == 7 for fault in made.faults)
    else:
        assert Chip.model_validate_json(unpack_document(made.document)).part == made.part


class TestKeepGoing:
    def test_the_others_go_in_and_each_rejected_is_told(
        self, tmp_path: Path, invented_chip: ChipMaker
    ) -> None:
        good, other = invented_chip("AB12"), invented_chip("QZ5710")
        bad = change_line(other, kind="jungel", maker="")
        path = write_lines(tmp_path / "a.jsonl", good, bad, b"{", other, good)
        told: list[tuple[Fault, ...]] = []
        info = build_folio([path], tmp_path / "folio.db", rejected=told.append)
        assert [[fault.line for fault in faults] for faults in told] == [[2, 2], [3], [5]]
        assert info.chips == 2
        assert info.digest == build_from_chips([good, other], tmp_path / "same.db").digest

    def test_nothing_left_is_no_folio(self, tmp_path: Path) -> None:
        path = write_lines(tmp_path / "a.jsonl", b"{", b"}")
        with pytest.raises(FolioError, match="every chip has faults"):
            build_folio([path], tmp_path / "folio.db", rejected=lambda faults: None)
        assert not (tmp_path / "folio.db").exists()

    def test_without_it_nothing_is_written(self, tmp_path: Path, invented_chip: ChipMaker) -> None:
        path = write_lines(tmp_path / "a.jsonl", invented_chip("AB12"), b"{")
        with pytest.raises(ChipFileError):
            build_folio([path], tmp_path / "folio.db")
        assert list(tmp_path.iterdir()) == [path]
