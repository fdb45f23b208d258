"""Read YAML safely: every scalar stays text, and every value keeps its position.

PyYAML only composes nodes; nothing is constructed from a tag, so ``NO`` stays NO, ``010`` stays
010, and ``!!python/object`` is refused. Size, depth and number of values are limited, and aliases,
which chip files do not need, are refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any, Final

import yaml

from ..errors import ChipFileError, Fault
from .yaml_slips import find_yaml_slip

YAML_LOADER: Final[Any] = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
"""The C parser if available, without implicit types."""

MOST_BYTES: Final = 2_000_000
MOST_VALUES: Final = 100_000
DEEPEST: Final = 30

_CONTROL: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")

Key = str | int
Place = tuple[int, int]


@dataclass
class Located:
    """Text, lists and dicts, with line and column of the value and key at each path."""

    data: Any
    name: str
    values: dict[tuple[Key, ...], Place] = field(default_factory=dict)
    keys: dict[tuple[Key, ...], Place] = field(default_factory=dict)

    def place(self, path: tuple[Key, ...], *, of_key: bool = False) -> Place:
        """Return line and column of the value, or key, at ``path``, or of its nearest parent."""
        if of_key and path in self.keys:
            return self.keys[path]
        while path and path not in self.values:
            path = path[:-1]
        return self.values.get(path, (1, 1))

    def at(self, path: tuple[Key, ...]) -> Any:
        """Return the value at ``path``; None if there is none."""
        value = self.data
        for step in path:
            try:
                value = value[step]
            except (KeyError, IndexError, TypeError):
                return None
        return value


def read_yaml(data: bytes, name: str, what: str = "a chip file", first: str = "part: …") -> Located:
    """Return the values of a YAML file and their positions.

    ``name`` is the file, ``what`` describes it, and ``first`` is its usual first line, all for
    messages. Raises ChipFileError with one fault if the file is not acceptable YAML.
    """
    text = _decode(data, name, what)
    _check_depth(text, name)
    try:
        root = yaml.compose(text, Loader=YAML_LOADER)
    except yaml.MarkedYAMLError as refused:
        raise _explain_refusal(refused, name, text) from None
    except (yaml.YAMLError, RecursionError, ValueError) as refused:
        raise _build_fault(name, (1, 1), "unreadable YAML", str(refused).splitlines()[0]) from None
    if root is None:
        raise _build_fault(name, (1, 1), "an empty file", what, first)
    located = Located(None, name)
    located.data = _Walk(located).value(root, ())
    return located


class _Walk:
    """Converts composed nodes to plain data, within the limits."""

    def __init__(self, located: Located) -> None:
        self.located, self.name, self.count = located, located.name, 0
        self.seen: set[int] = set()

    def value(self, node: yaml.Node, path: tuple[Key, ...]) -> Any:
        """Return a node's value. Raises ChipFileError for an alias, a tag or too many values."""
        place = _place(node.start_mark)
        self.located.values[path] = place
        self.count += 1
        if self.count > MOST_VALUES:
            raise _build_fault(self.name, place, "too many values", f"at most {MOST_VALUES}")
        # An alias composes to the node it repeats; nested aliases grow a short file to gigabytes.
        if id(node) in self.seen:
            raise _build_fault(
                self.name, place, "an alias (*name)", "the value itself, written out"
            )
        self.seen.add(id(node))
        if not node.tag.startswith("tag:yaml.org,2002:") or "python" in node.tag:
            raise _build_fault(
                self.name, place, f"the tag {node.tag}", "a plain value without a tag"
            )
        if isinstance(node, yaml.MappingNode):
            return self._construct_mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, (*path, index)) for index, item in enumerate(node.value)]
        return node.value

    def _construct_mapping(self, node: yaml.MappingNode, path: tuple[Key, ...]) -> dict[str, Any]:
        """Return a mapping's values. Raises ChipFileError for a repeated key or one not a word."""
        mapping: dict[str, Any] = {}
        for key_node, value_node in node.value:
            place = _place(key_node.start_mark)
            key = key_node.value
            if not isinstance(key_node, yaml.ScalarNode):
                raise _build_fault(
                    self.name, place, "a list or map as a key", "a plain word as key"
                )
            if key in mapping:  # YAML readers would silently keep the last value
                first_line, _ = self.located.keys[(*path, key)]
                found_text = f"'{key}' again, first in line {first_line}"
                raise _build_fault(self.name, place, found_text, "each key once")
            self.located.keys[(*path, key)] = place
            mapping[key] = self.value(value_node, (*path, key))
        return mapping


def _decode(data: bytes, name: str, what: str) -> str:
    """Return a file's text. Raises ChipFileError if it is too long or not UTF-8."""
    if len(data) > MOST_BYTES:
        raise _build_fault(
            name, (1, 1), f"more than {MOST_BYTES:,} bytes", f"{what}, which is smaller"
        )
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _build_fault(name, (1, 1), "UTF-16 text", "UTF-8; save the file again as UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as refused:
        line = data.count(b"\n", 0, refused.start) + 1
        column = refused.start - data.rfind(b"\n", 0, refused.start)
        found_text = f"the byte 0x{data[refused.start]:02x}, which is not UTF-8"
        raise _build_fault(
            name, (line, column), found_text, "UTF-8; save the file again as UTF-8"
        ) from None
    for line, content in enumerate(text.split("\n"), 1):
        indent = len(content) - len(content.lstrip(" \t"))
        if "\t" in content[:indent]:
            raise _build_fault(name, (line, content.index("\t") + 1), "a tab", "spaces to indent")
        control = _CONTROL.search(content)
        if control is not None:
            found_text = f"the control character 0x{ord(control[0]):02x}"
            raise _build_fault(
                name, (line, control.start() + 1), found_text, "text; this looks like a binary file"
            )
    return text


def _check_depth(text: str, name: str) -> None:
    """Refuse nesting that would exhaust the stack of the parser, before parsing."""
    for number, line in enumerate(text.split("\n"), 1):
        indent = len(line) - len(line.lstrip(" -"))
        opened = max(line.count("[") - line.count("]"), line.count("{") - line.count("}"))
        if indent > 8 * DEEPEST or opened > DEEPEST:
            raise _build_fault(name, (number, 1), "very deep nesting", f"at most {DEEPEST} levels")
    if max(text.count("[") - text.count("]"), text.count("{") - text.count("}")) > 500:
        raise _build_fault(name, (1, 1), "brackets that are never closed", "each [ and { closed")


def _explain_refusal(refused: yaml.MarkedYAMLError, name: str, text: str) -> ChipFileError:
    slip = find_yaml_slip(text, refused)
    if slip is not None:
        place = slip.line, slip.column
        return _build_fault(name, place, slip.found, slip.expected, slip.write)
    mark = refused.problem_mark or refused.context_mark
    place = _place(mark) if mark else (1, 1)
    problem = (refused.problem or "unreadable YAML").replace("\n", " ")
    return _build_fault(name, place, problem, "YAML; quote a value that holds ': ' or ' #'")


def _place(mark: Any) -> Place:
    return mark.line + 1, mark.column + 1


def _build_fault(
    name: str, place: Place, found: str, expected: str, write: str | None = None
) -> ChipFileError:
    return ChipFileError((Fault(name, *place, found, expected, write, "yaml"),))
