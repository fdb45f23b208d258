"""Single values put into a YAML text: the rest of the text stays as it was."""

from __future__ import annotations

import pytest
from pinfolio.loaders.chip_files.value_edits import append_item, put_value

FILE = """\
# head
part: QZ1  # beside
sources:
  - {id: sheet,
     title: "A"}  # the sheet
# between
pins:
  - number: 1
    text: >-
      folded
      text
    values: [{dc: 1 V}, {}]
"""


@pytest.mark.parametrize(
    ("path", "value", "old", "new"),
    [
        (("part",), "QZ2", "part: QZ1  # beside", "part: QZ2  # beside"),
        (("sources", 0, "title"), "B", 'title: "A"}', "title: B}"),
        (("pins", 0, "values", 0, "dc"), "2 V", "{dc: 1 V}", "{dc: 2 V}"),
        (("pins", 0, "values", 0, "hz"), "50", "{dc: 1 V}", "{dc: 1 V, hz: 50}"),
        (("pins", 0, "dc"), "3 V", "number: 1\n", "number: 1\n    dc: 3 V\n"),
        (("pins", 0, "text"), "short", ">-\n      folded\n      text\n", "short\n"),
    ],
)
def test_a_value_is_replaced_or_added(
    path: tuple[str | int, ...], value: str, old: str, new: str
) -> None:
    assert put_value(FILE, path, value) == FILE.replace(old, new)


def test_an_item_follows_the_last_one_and_its_comment() -> None:
    added = append_item(FILE, ("sources",), "{id: shop}")
    assert added == FILE.replace("# the sheet\n", "# the sheet\n  - {id: shop}\n")
    flow = append_item(FILE, ("pins", 0, "values"), "{dc: 5 V}")
    assert flow == FILE.replace("{}]", "{}, {dc: 5 V}]")


def test_line_ends_and_a_missing_last_one_are_kept() -> None:
    assert append_item("a:\r\n- 1\r\n", ("a",), "2") == "a:\r\n- 1\r\n- 2\r\n"
    assert append_item("a:\n- 1", ("a",), "2") == "a:\n- 1\n- 2"


def test_a_block_is_replaced_without_what_follows_it() -> None:
    text = "source:\n  id: sheet\n  page: 3  # see\n\nnext: 1\n"
    assert put_value(text, ("source",), "{id: a}") == "source:\n  {id: a}  # see\n\nnext: 1\n"


def test_there_must_be_a_place_for_it() -> None:
    for path in (("part", "x"), ("pins", 7, "x"), ("nothing", "x")):
        with pytest.raises(KeyError):
            put_value(FILE, path, "1")
    with pytest.raises(KeyError):
        append_item(FILE, ("part",), "1")
