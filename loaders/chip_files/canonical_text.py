"""Format a chip file in its canonical form, or apply single fixes; both keep comments.

Formatting orders keys as in the models and spells quantities uniformly; it is idempotent. Applying
fixes replaces single words and leaves every other character as it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import yaml

from ...schema.chips.application import Application
from ...schema.chips.data import Pin
from ...schema.file_format import field_types
from ...schema.quantities.spelling import respell_quantity
from ..errors import ChipFileError, Fault
from .yaml_comments import Collection, Scalar, offset_of, read_document
from .yaml_layout import format_scalar, lay_out
from .yaml_positions import YAML_LOADER, Place, read_yaml

EXPLAINS: Final = "#?"
"""Start of a comment that explains a blank; formatting removes it once the blank is filled."""


@dataclass(frozen=True)
class Fix:
    """A replacement for the key or value at a line and column, both from 1."""

    line: int
    column: int
    found: str
    write: str


def format_chip_file(file: str | bytes, name: str = "chip file") -> str:
    """Return the chip file in canonical form; raises ChipFileError if it is not YAML."""
    content = file if isinstance(file, bytes) else file.encode()
    data = read_yaml(content, name).data
    if not isinstance(data, dict):
        found_text = "a list" if isinstance(data, list) else "plain text"
        raise ChipFileError((Fault(name, 1, 1, found_text, "a map of keys", "part: …", "yaml"),))
    document = read_document(content.decode("utf-8-sig"))
    _arrange(document.root, field_types.WHOLE_FILE)
    return lay_out(document)


def _arrange(collection: Collection, sort: field_types.Sort) -> None:
    """Order keys as in the model and spell quantities uniformly, at every depth."""
    kind = _find_kind(collection)
    if collection.is_map:
        position_of = {key: n for n, key in enumerate(field_types.list_keys(sort, kind))}
        # Keys that the model lacks go last, in the order they have.
        last = len(position_of)
        collection.entries.sort(key=lambda entry: position_of.get(entry.key or "", last))
    for index, entry in enumerate(collection.entries):
        value_sort = field_types.step_into(sort, index if entry.key is None else entry.key, kind)
        # The explanation of a blank to fill in has done its work once the value is there.
        if not _has_blank(entry.value) and (entry.beside or "").startswith(EXPLAINS):
            entry.beside = None
        if isinstance(entry.value, Collection):
            entry.value.spread = field_types.is_model(value_sort, Pin, Application)
            _arrange(entry.value, value_sort)
            continue
        unit = field_types.find_unit(value_sort, entry.value.text)
        if unit is not None:
            entry.value.text = respell_quantity(entry.value.text, unit)


def _has_blank(value: Scalar | Collection) -> bool:
    if isinstance(value, Collection):
        return any(_has_blank(entry.value) for entry in value.entries)
    return not value.text


def _find_kind(collection: Collection) -> str | None:
    """Return the value of ``kind``, which selects the class of a waveform."""
    for entry in collection.entries:
        if entry.key == "kind" and isinstance(entry.value, Scalar):
            return entry.value.text
    return None


def apply_fixes(text: str, fixes: Iterable[Fix]) -> str:
    """Return the text with the fixes applied; a fix whose text is no longer there is skipped."""
    fix_at = {(fix.line, fix.column): fix for fix in fixes}
    scalars = _find_scalars(yaml.compose(text, Loader=YAML_LOADER))
    fixable = [scalar for scalar in scalars if scalar[0] in fix_at]
    # From the end backwards, so that the places before a replacement stay true.
    for place, node, in_brackets in sorted(fixable, key=lambda scalar: scalar[0], reverse=True):
        fix = fix_at[place]
        if node.value != fix.found:
            continue
        new_scalar = Scalar(fix.write, quoted=bool(node.style))
        start, end = offset_of(text, node.start_mark), offset_of(text, node.end_mark)
        text = text[:start] + format_scalar(new_scalar, in_brackets=in_brackets) + text[end:]
    return text


def _find_scalars(
    node: yaml.Node | None, in_brackets: bool = False
) -> Iterator[tuple[Place, yaml.ScalarNode, bool]]:
    """Yield every one-line key and value: its place, node, and whether it is within brackets."""
    if isinstance(node, yaml.ScalarNode):
        if node.style not in ("|", ">"):
            mark = node.start_mark
            yield (mark.line + 1, mark.column + 1), node, in_brackets
    elif isinstance(node, yaml.CollectionNode):
        for item in node.value:
            for inner in item if isinstance(item, tuple) else (item,):
                yield from _find_scalars(inner, in_brackets or bool(node.flow_style))
