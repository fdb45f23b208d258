"""Part names: slashes and dots are allowed in part numbers, not in file names."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.chip_files.part_name import PartError, check_part, make_file_name


@pytest.mark.parametrize("part", ["QZ5710/N", "QZ 5710-N.2", "../QZ1", "QZ\\1", "QZ1+", "5710"])
def test_signs_between_letters_and_digits_are_part_of_the_number(part: str) -> None:
    assert check_part(f" {part} ") == part


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("..", "'..' is not a part number; use letters or digits"),
        ("", "'' is not a part number; use letters or digits"),
        ("./-/..", "use letters or digits"),
        ("QZ\x1b[2J1", r"'QZ\\x1b[2J1' is not a part number; leave out control signs"),
        ("QZ\n1", "leave out control signs"),
        ("Q" * 81, "a part number of 81 signs is too long; use at most 80"),
    ],
)
def test_what_no_part_is_called(part: str, told: str) -> None:
    with pytest.raises(PartError) as refused:
        check_part(part)
    assert told in str(refused.value)


@given(st.text(max_size=30))
def test_no_part_makes_a_path_out_of_a_file_name(part: str) -> None:
    name = make_file_name(part)
    assert Path(name).name == name
    assert not name.startswith(".")
