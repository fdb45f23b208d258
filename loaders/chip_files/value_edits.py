"""Put single values into a chip file's text; every other character, comments too, stays as it was.

Paths are those of ``Located``: keys and indexes from the root. Values are given as YAML text that
is right within brackets.
"""

from __future__ import annotations

from typing import Any

import yaml

from .yaml_comments import offset_of
from .yaml_positions import YAML_LOADER, Key


def put_value(text: str, path: tuple[Key, ...], value: str) -> str:
    """Return the text with another value at ``path``; a missing key follows its map's first one.

    Raises KeyError if there is no map at the parent of ``path``.
    """
    *parent_path, key = path
    parent = _find_node(text, tuple(parent_path))
    if not isinstance(parent, yaml.MappingNode):
        raise KeyError(path)
    for key_node, value_node in parent.value:
        if key_node.value == key:
            start = offset_of(text, value_node.start_mark)
            # The place of a blank is right behind the colon of its key.
            space = " " if text[start - 1 : start] == ":" else ""
            return text[:start] + space + value + text[_find_end(text, value_node) :]
    _, first_value_node = parent.value[0]
    return _insert_behind(text, parent, first_value_node, f"{key}: {value}")


def append_item(text: str, path: tuple[Key, ...], value: str) -> str:
    """Return the text with an item more in the list at ``path``, which has some.

    Raises KeyError if there is no list at ``path``.
    """
    holder = _find_node(text, path)
    if not isinstance(holder, yaml.SequenceNode) or not holder.value:
        raise KeyError(path)
    item = value if holder.flow_style else f"- {value}"
    return _insert_behind(text, holder, holder.value[-1], item)


def _find_node(text: str, path: tuple[Key, ...]) -> yaml.Node:
    """Return the node at ``path``; raises KeyError if there is none."""
    node: Any = yaml.compose(text, Loader=YAML_LOADER)
    for step in path:
        if isinstance(node, yaml.MappingNode):
            node = {key.value: value for key, value in node.value}[step]
        elif isinstance(node, yaml.SequenceNode) and isinstance(step, int):
            node = dict(enumerate(node.value))[step]
        else:
            raise KeyError(path)
    found: yaml.Node = node
    return found


def _find_end(text: str, node: yaml.Node) -> int:
    """Return the offset behind the last sign of a node, without what follows a block."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _find_end(text, last[1] if isinstance(last, tuple) else last)
    return len(text[: offset_of(text, node.end_mark)].rstrip())


def _insert_behind(text: str, holder: yaml.CollectionNode, node: yaml.Node, entry: str) -> str:
    """Return the text with an entry behind that of ``node``: in the brackets, or on a line."""
    end = _find_end(text, node)
    if holder.flow_style:
        return f"{text[:end]}, {entry}{text[end:]}"
    newline = "\r\n" if "\r\n" in text else "\n"
    margin = " " * holder.start_mark.column
    line_end = text.find("\n", end) + 1
    if not line_end:
        return f"{text}{newline}{margin}{entry}"
    return f"{text[:line_end]}{margin}{entry}{newline}{text[line_end:]}"
