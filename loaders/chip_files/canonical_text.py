"""The text of a chip file in its one canonical form, and mended in place; comments are kept.

Formatting puts keys in the order of the models and spells quantities one way; done twice it is
the same as done once. Mending replaces single words and leaves every other sign as it was.
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
from .yaml_layout import lay_out, scalar_text
from .yaml_positions import YAML_LOADER, Place, read_yaml

EXPLAINS: Final = "#?"
"""How a comment begins that explains a blank: formatting takes it away once the blank is filled."""


@dataclass(frozen=True)
class Fix:
    """What to write instead of the key or value that begins at a line and column (from 1)."""

    line: int
    column: int
    found: str
    write: str


def format_chip_file(file: str | bytes, name: str = "chip file") -> str:
    """The same chip file in canonical form; raises ChipFileError when it is not YAML."""
    content = file if isinstance(file, bytes) else file.encode()
    data = read_yaml(content, name).data
    if not isinstance(data, dict):
        found = "a list" if isinstance(data, list) else "plain text"
        raise ChipFileError((Fault(name, 1, 1, found, "a map of keys", "part: …", "yaml"),))
    document = read_document(content.decode("utf-8-sig"))
    _arrange(document.root, field_types.WHOLE_FILE)
    return lay_out(document)


def _arrange(collection: Collection, sort: field_types.Sort) -> None:
    """Put keys in the order of the model and spell quantities one way, all the way down."""
    kind = _kind(collection)
    if collection.is_map:
        order = {key: place for place, key in enumerate(field_types.list_keys(sort, kind))}
        collection.entries.sort(key=lambda entry: order.get(entry.key or "", len(order)))
    for index, entry in enumerate(collection.entries):
        within = field_types.step_into(sort, index if entry.key is None else entry.key, kind)
        if not _has_blank(entry.value) and (entry.beside or "").startswith(EXPLAINS):
            entry.beside = None
        if isinstance(entry.value, Collection):
            entry.value.spread = field_types.is_model(within, Pin, Application)
            _arrange(entry.value, within)
            continue
        unit = field_types.find_unit(within)
        if unit is not None:
            entry.value.text = respell_quantity(entry.value.text, unit)


def _has_blank(value: Scalar | Collection) -> bool:
    if isinstance(value, Collection):
        return any(_has_blank(entry.value) for entry in value.entries)
    return not value.text


def _kind(collection: Collection) -> str | None:
    """The word under ``kind``, which tells one waveform from another."""
    for entry in collection.entries:
        if entry.key == "kind" and isinstance(entry.value, Scalar):
            return entry.value.text
    return None


def apply_fixes(text: str, fixes: Iterable[Fix]) -> str:
    """The text with each fix put in; one that does not find what it is for is left out."""
    wanted = {(fix.line, fix.column): fix for fix in fixes}
    scalars = _scalars(yaml.compose(text, Loader=YAML_LOADER))
    spots = [spot for spot in scalars if spot[0] in wanted]
    for place, node, in_brackets in sorted(spots, key=lambda spot: spot[0], reverse=True):
        fix = wanted[place]
        if node.value == fix.found:
            new = scalar_text(Scalar(fix.write, quoted=bool(node.style)), in_brackets=in_brackets)
            start, end = offset_of(text, node.start_mark), offset_of(text, node.end_mark)
            text = text[:start] + new + text[end:]
    return text


def _scalars(
    node: yaml.Node | None, in_brackets: bool = False
) -> Iterator[tuple[Place, yaml.ScalarNode, bool]]:
    """Every key and value on one line with its place, and whether it stands within brackets."""
    if isinstance(node, yaml.ScalarNode):
        if node.style not in ("|", ">"):
            mark = node.start_mark
            yield (mark.line + 1, mark.column + 1), node, in_brackets
    elif isinstance(node, yaml.CollectionNode):
        for item in node.value:
            for inner in item if isinstance(item, tuple) else (item,):
                yield from _scalars(inner, in_brackets or bool(node.flow_style))
