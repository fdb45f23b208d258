"""A job as a technician reads it in a terminal: the same document as the page shows."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from ....schema.text import visible
from ..command_common import open_console

if TYPE_CHECKING:
    from rich.console import Console

_MOST_INSTEAD: Final = 3
_MOST_MEANINGS: Final = 4
_MOST_CLEARED: Final = 12  # names; beyond that their number
_MARKS: Final = {
    "proved good": "right",
    "bad": "wrong",
    "suspect": "suspect",
    "unknown": "not read",
}


def print_bench(bench: Mapping[str, Any], told: Container[str] = ()) -> None:
    """Print a bench document: readings, suspects, the signal path, and the next step.

    ``told``: cautions that were printed before.
    """
    console = open_console()
    symptoms = "; ".join(bench["symptoms"]) or "no symptom given"
    _say(console, f"{bench['part']}, {bench['condition']}: {symptoms}", "bold")
    # The latest reading first, as it is the one that was typed just now.
    for reading in reversed(bench["read"]):
        verdict = f"{reading['place']}: {reading['verdict']}"
        # A line that states the verdict itself is not followed by it again.
        verdict_column = "" if verdict == reading["line"] else f"   {verdict}"
        _say(console, f"  {reading['line']}{verdict_column}")
        # Without a clear verdict the reasons say how to come to one.
        if reading["is_right"] is None:
            for reason in reading["why"]:
                _say(console, f"      {reason}")
    _print_suspects(console, bench)
    for contradiction in bench["contradictions"]:
        _say(console, contradiction)
    if bench["way"]:
        stages = [f"{stage['name']} ({_mark(stage)})" for stage in bench["way"]]
        _say(console, f"The way of this signal: {' → '.join(stages)}")
    for group in bench["cleared"]:
        _say(console, f"Cleared, {group['why']}: {_shorten(group['names'])}")
    for past_case in bench["alike"]:
        source = f"{past_case['shop']}, {past_case['date']}"
        _say(console, f"Seen before ({source}): {_tell_case(past_case)}")
    _say(console, bench["conclusion"], "bold")
    _print_now(console, bench)
    for caution in bench["now"]["cautions"]:
        if caution not in told:
            _say(console, f"  Caution: {caution}")


def print_outcomes(now: Mapping[str, Any]) -> None:
    """Print the meaning of each possible answer to the present question."""
    console = open_console()
    for outcome in now["outcomes"][:_MOST_MEANINGS]:
        then = " or ".join(one["said"] for one in outcome["then"])
        _say(console, f"  {outcome['outcome']}: then most likely {then}")
    if not now["outcomes"]:
        _say(console, "  There is nothing to be read here.")


def _print_suspects(console: Console, bench: Mapping[str, Any]) -> None:
    """Print the suspects, likeliest first, with the proof of each and the share of all others."""
    from rich import box
    from rich.table import Table

    table = Table("%", "Suspect", "Prove it", "Fit", box=box.SIMPLE_HEAD, pad_edge=False)
    for suspect in bench["suspects"]:
        # The names of other kinds, such as a joint, tell the failure already.
        failure = suspect["failure"] if suspect["kind"] in ("part", "supply") else ""
        name = ": ".join(filter(None, (suspect["name"], failure)))
        # The proof that is the next step is printed there, step by step.
        is_next = bench["now"]["kind"] == "prove" and bench["now"]["at"] == suspect["what"]
        proof = "Next, see below." if is_next else suspect["prove"]
        cells = (str(suspect["percent"]), name, proof, suspect["fit"])
        table.add_row(*map(visible, cells))
    table.add_row(str(bench["others_percent"]), "All others together", "", "")
    console.print(table)


def _print_now(console: Console, bench: Mapping[str, Any]) -> None:
    """Print the next step in single actions, and the check that it succeeded."""
    now, checks = bench["now"], bench["must_read"]
    is_part_to_fit = now["kind"] == "fit" and not now["at"].startswith("pin ")
    if now["kind"] == "measure":
        _print_measurement(console, now)
        for other in bench["instead"][:_MOST_INSTEAD]:
            span = f", should be {other['expected']['span']}" if other["expected"] else ""
            _say(console, f"  or: {other['said']}{span}")
    elif not is_part_to_fit:
        # The part to fit is in the conclusion; the readings to repeat follow with their limits.
        for step in now["steps"]:
            _say(console, f"  - {step}")
    # With nothing left to read again the set is cured, and needs no substitute.
    if is_part_to_fit and checks:
        command = f"pinfolio substitute {bench['part']} {now['at']} --box 'values, between commas'"
        _say(console, f"  From the scrap box: {command}")
    if now["kind"] in ("fit", "repair") and checks:
        _say(console, "Fit it, switch on, and read again; these must then be right:", "bold")
        for check in checks:
            span = f": {check['expected']['span']}" if check["expected"] else ""
            _say(console, f"  {check['said']}{span}")


def _print_measurement(console: Console, now: Mapping[str, Any]) -> None:
    expected = now["expected"]
    for step in now["steps"] if now["quantity"] == "resistance" else ():
        _say(console, f"  - {step}")
    if now["where"]:
        _say(console, f"  It is in the {now['where']}.")
    if expected is not None:
        source = ", calculated from the circuit" if expected["source"] == "calculated" else ""
        _say(console, f"  Should be {expected['words']}: {expected['span']}{source}.")


def _mark(stage: Mapping[str, Any]) -> str:
    return "measure here" if stage["is_next"] else _MARKS[stage["mark"]]


def _shorten(names: Sequence[str]) -> str:
    left = len(names) - _MOST_CLEARED
    more = f" and {left} more" if left > 0 else ""
    return f"{', '.join(names[:_MOST_CLEARED])}{more}"


def _tell_case(alike: Mapping[str, Any]) -> str:
    failed = " ".join(filter(None, (alike["part"], alike["failure"])))
    cause = failed if alike["part"] else "cause not proved"
    return f"{alike['symptom']}: {cause}. Cured by: {alike['cure']}"


def _say(console: Console, text: str, style: str = "") -> None:
    console.print(visible(text), style=style)
