"""Write plain maps and lists as YAML in a uniform style."""

from __future__ import annotations

from typing import Any

import yaml


def dump_yaml(document: dict[str, Any]) -> str:
    """Return the document as YAML, with keys in their given order and values as written."""
    return yaml.dump(document, Dumper=_Dumper, allow_unicode=True, sort_keys=False, width=100)


class _Dumper(yaml.SafeDumper):
    """Writes short maps and lists of plain values on one line, others in block style."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _represent_map(dumper: _Dumper, data: dict[str, Any]) -> yaml.Node:
    plain = all(not isinstance(value, dict | list) for value in data.values())
    short = sum(len(str(item)) for pair in data.items() for item in pair) < 60
    return dumper.represent_mapping("tag:yaml.org,2002:map", data.items(), plain and short)


def _represent_list(dumper: _Dumper, data: list[Any]) -> yaml.Node:
    plain = all(not isinstance(value, dict | list) for value in data)
    return dumper.represent_sequence("tag:yaml.org,2002:seq", data, plain)


def _represent_text(dumper: _Dumper, data: str) -> yaml.Node:
    style = "|" if "\n" in data else None
    if "\x85" in data or "\t" in data or "\n " in data or data.startswith(("\n", " ")):
        style = '"'  # other styles fold this line break away, or hold blanks that seem to indent
    return dumper.represent_scalar("tag:yaml.org,2002:str", data, style)


_Dumper.add_representer(str, _represent_text)
_Dumper.add_representer(dict, _represent_map)
_Dumper.add_representer(list, _represent_list)
