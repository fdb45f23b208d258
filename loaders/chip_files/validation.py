"""Validate parsed YAML against a model; report each error with its line and a suggestion."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ...schema import ChipRuleError
from ...schema.text import find_nearest_word
from ..errors import BrokenRule, Fault, InvalidFileError
from .yaml_positions import Key, Located

_MOST_FAULTS: Final = 1000  # a map of 100,000 unknown keys would take minutes to describe

Checked = TypeVar("Checked", bound=BaseModel)

# Expected sort of value, by type of pydantic error.
_EXPECTED_SORTS: Final = {
    "tuple_type": "a list, its entries after dashes or in [ ]",
    "model_type": "a map of keys and values",
    "dict_type": "a map of keys and values",
    "string_type": "plain text",
    "string_too_short": "some text",
}


def validate_located(
    model: type[Checked], located: Located, error: type[InvalidFileError], first: str
) -> Checked:
    """Return the validated model; ``first`` is the usual first line of such a file.

    Raises ``error`` with all faults, ordered by line.
    """
    if not isinstance(located.data, dict):
        sort = "a list" if isinstance(located.data, list) else "plain text"
        raise error((Fault(located.name, 1, 1, sort, "a map of keys", first, "yaml"),))
    try:
        return model.model_validate(located.data)
    except ValidationError as refused:
        refusals = _remove_echoes(refused.errors()[:_MOST_FAULTS])
        refusals = _remove_missing_where_misspelt(_join_decimals(refusals, located))
        faults = [fault for refusal in refusals for fault in _list_faults(refusal, located, model)]
        faults.sort(key=lambda fault: (fault.line, fault.column))
        raise error(tuple(faults)) from None


def _remove_echoes(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """Remove "too short" errors of lists that are short only because items were invalid."""
    places = [error["loc"] for error in errors]
    return [
        error
        for error in errors
        if error["type"] != "too_short"
        or not any(
            len(p) > len(error["loc"]) and p[: len(error["loc"])] == error["loc"] for p in places
        )
    ]


def _remove_missing_where_misspelt(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """Remove the errors of missing keys that an unknown key beside them is meant to be."""
    unknown: dict[tuple[Key, ...], list[str]] = {}
    for error in errors:
        if error["type"] == "extra_forbidden":
            unknown.setdefault(error["loc"][:-1], []).append(str(error["loc"][-1]))
    return [
        error
        for error in errors
        if error["type"] != "missing"
        or find_nearest_word(str(error["loc"][-1]), unknown.get(error["loc"][:-1], ())) is None
    ]


def _join_decimals(errors: list[ErrorDetails], located: Located) -> list[ErrorDetails]:
    """Join both errors of a number whose comma divides it: ``{dc: 3,4 V}`` is meant as 3.4 V."""
    rests = {
        located.keys.get(_find_path_in_file(error["loc"], located)): error
        for error in errors
        if error["type"] == "extra_forbidden" and _is_after_comma(error["loc"][-1], error["input"])
    }
    joined: list[ErrorDetails] = []
    for error in errors:
        if error["type"] == "quantity":
            line, column = located.place(_find_path_in_file(error["loc"], located))
            whole = str(error["input"])
            rest = rests.get((line, column + len(whole) + 1))
            if rest is not None and whole.isdigit():
                joined.append(rest)
                error["ctx"]["found"] = f"{whole},{rest['loc'][-1]}"
                error["ctx"]["expected"] = "a point in the number: a comma in { } divides entries"
                error["ctx"]["write"] = f"{whole}.{rest['loc'][-1]}"
    return [error for error in errors if error not in joined]


def _list_faults(error: ErrorDetails, located: Located, model: Any) -> Iterator[Fault]:
    """Yield the faults of one pydantic error, with their lines."""
    path = (*_find_path_in_file(error["loc"], located), *_find_key_inside(error))
    cause = error.get("ctx", {}).get("error")
    # Rules on the whole chip report all their findings in one error, each with its own place.
    if isinstance(cause, ChipRuleError):
        for finding in cause.findings:
            line, column = located.place(finding.at)
            yield BrokenRule(
                located.name,
                line,
                column,
                finding.problem,
                finding.remedy,
                finding.write,
                finding.rule,
            )
        return
    # A validator of the model states problem and remedy itself, divided by a semicolon.
    problem, semicolon, remedy = str(cause or "").partition("; ")
    if semicolon:
        place = located.place(path)
        yield BrokenRule(located.name, *place, problem, remedy, rule=error["type"])
        return
    # At an unknown key the key is wrong, and everywhere else the value.
    is_unknown_key = error["type"] == "extra_forbidden"
    line, column = located.place(path, of_key=is_unknown_key)
    yield Fault(located.name, line, column, *_find_words(error, path, model), error["type"])


def _find_key_inside(error: ErrorDetails) -> tuple[Key, ...]:
    """Return the key inside the map of an error of the whole map, where one key is at fault."""
    context = error.get("ctx", {})
    if error["type"] == "union_tag_invalid":
        return ("kind",)
    if error["type"] == "quantity" and context.get("key"):
        return (context["key"],)
    if error["type"] == "waveform" and isinstance(error["input"], dict):
        key = context["found"].split(" ")[0]
        return (key,) if key in error["input"] else ()
    return ()


def _find_words(
    error: ErrorDetails, path: tuple[Key, ...], model: Any
) -> tuple[str, str, str | None]:
    """Return the value found, the value expected, and a suggestion."""
    context = error.get("ctx", {})
    error_type, value = error["type"], error["input"]
    shown_value = _describe_value(value)
    if error_type == "missing":
        return f"no '{path[-1]}'", f"the key '{path[-1]}' here", f"{path[-1]}: …"
    # In {max: 1,5} the comma of a decimal number divides entries: 5 then reads as a key.
    if error_type == "extra_forbidden" and _is_after_comma(path[-1], value):
        expected = "a point in the number before it: a comma in { } divides entries"
        return f"the key '{path[-1]}'", expected, None
    if error_type == "extra_forbidden":
        known_keys = _list_keys_beside(error, model)
        nearest_key = find_nearest_word(str(path[-1]), known_keys)
        return f"the key '{path[-1]}'", f"one of {', '.join(known_keys)}", nearest_key
    if error_type == "literal_error":
        words = _split_choices(str(context["expected"]))
        return shown_value, f"one of {', '.join(words)}", find_nearest_word(str(value), words)
    if error_type == "union_tag_invalid":
        kinds = _split_choices(str(context["expected_tags"]))
        nearest_kind = find_nearest_word(str(context["tag"]), kinds)
        return f"the kind '{context['tag']}'", f"one of {', '.join(kinds)}", nearest_kind
    if error_type == "too_short":
        return "an empty list", f"at least one entry under '{path[-1]}'", None
    if error_type == "quantity":
        return _quote(context["found"]), str(context["expected"]), context["write"]
    if error_type in _EXPECTED_SORTS:
        is_word = error_type == "tuple_type" and isinstance(value, str) and value != ""
        listed = f"[{value}]" if is_word else None
        return shown_value, _EXPECTED_SORTS[error_type], listed
    if error_type == "waveform":
        return context["found"], context["expected"], None
    message = error["msg"].removeprefix("Value error, ").removeprefix("expected ")
    return shown_value, message[0].lower() + message[1:], _mend_word(error_type, str(value))


def _mend_word(error_type: str, word: str) -> str | None:
    """Return the number, yes or no, or pin that ``word`` is a slip for; None if not clear."""
    if error_type == "whole_number":
        digits = word.strip().translate(str.maketrans("OoIl", "0011"))
        return digits if re.fullmatch("[0-9]{1,9}", digits) else None
    if error_type == "yes_no":
        return find_nearest_word(word.lower(), ("yes", "no"))
    pin = re.fullmatch(r"([A-Za-z]{2,4})[ -]?([0-9]{1,3})", word)
    is_pin = pin is not None and find_nearest_word(pin[1].lower(), ("pin",)) is not None
    return f"pin {pin[2]}" if pin is not None and is_pin else None


def _describe_value(value: Any) -> str:
    """Return a value as a message quotes it; of a list or map only which of them it is."""
    if isinstance(value, list):
        return "a list"
    return "a map" if isinstance(value, dict) else _quote(value)


def _split_choices(choices: str) -> list[str]:
    """Return the words in pydantic's ``'a', 'b' or 'c'``."""
    return [word.strip("' ") for word in choices.replace(" or ", ", ").split(", ")]


def _quote(value: object) -> str:
    return f"'{value}'" if value not in ("", None) else "a blank"


def _is_after_comma(key: Key, value: object) -> bool:
    """Return whether a key is the rest of a number with a comma: ``4 V`` of ``{dc: 3,4 V}``."""
    return value in ("", None) and re.fullmatch(r"[0-9]+ ?\D{0,3}(±.*)?", str(key)) is not None


def _find_path_in_file(loc: tuple[Key, ...], located: Located) -> tuple[Key, ...]:
    """Return pydantic's location without the tags of waveform unions, which are not in the file."""
    path: tuple[Key, ...] = ()
    for step in loc:
        value = located.at(path)
        if isinstance(value, dict) and step not in value and value.get("kind") == step:
            continue
        path = (*path, step)
    return path


def _list_keys_beside(error: ErrorDetails, model: Any) -> list[str]:
    """Return the keys of the model at the place of the error."""
    for step in error["loc"][:-1]:
        model = _find_model_at(model, step)
    return list(getattr(model, "model_fields", {}))


def _find_model_at(model: Any, step: Key) -> Any:
    """Return the model one step down, through tuples, optional values and unions."""
    if isinstance(step, int):
        return model
    fields = getattr(model, "model_fields", {})
    candidates = list(_find_models(fields[step].annotation)) if step in fields else [model]
    if step in fields:
        return candidates[0] if len(candidates) == 1 else candidates
    for candidate in model if isinstance(model, list) else [model]:
        literal = getattr(candidate, "model_fields", {}).get("kind")
        if literal is not None and step in getattr(literal.annotation, "__args__", ()):
            return candidate
    return model


def _find_models(annotation: Any) -> Iterator[Any]:
    if hasattr(annotation, "model_fields"):
        yield annotation
    for inner in getattr(annotation, "__args__", ()):
        yield from _find_models(inner)
