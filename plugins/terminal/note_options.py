"""The options of ``pinfolio note add`` and ``edit``: the fields of a note, and attached files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from .instrument_choice import instrument_options

Command = TypeVar("Command", bound=Callable[..., Any])

_FIELDS: Final = {
    "kind": (
        "KIND",
        "known-good reading, fault and remedy, caution, correction or remark; or how one begins.",
    ),
    "condition": ("NAME", "State of the set, one of the chip's conditions."),
    "dc": ("V", "DC voltage read: 3.1V."),
    "vpp": ("V", "Peak-to-peak voltage read: 0.98Vpp."),
    "freq": ("HZ", "Frequency read: 15.62kHz."),
    "ohms": ("OHM", "Resistance to ground, set off: 12kohm."),
    "seen": ("WORDS", "Seen without a figure: unstable, distorted, missing, clipped, hum."),
    "chassis": ("TYPE", "Type of the chassis, never its serial number."),
    "set-name": ("NAME", "Your own name for the set, such as a job number: one set, one reading."),
    "sets": ("N", "Number of sets it was seen in; default: one."),
    "confidence": ("WORD", "How often it was seen: once, several times, always."),
    "symptom": ("TEXT", "Symptom of the set, in the trade's words."),
    "part": ("REF", "Part that had failed, such as C712."),
    "failure": ("TEXT", "How it had failed."),
    "proof": ("TEXT", "How it was proved: 'measured open out of circuit'."),
    "cure": ("TEXT", "The cure."),
    "after": ("READINGS", "Read after the repair: 'dc=3.1V vpp=1Vpp'."),
    "text": ("TEXT", "Free text in Markdown; - reads it from standard input."),
    "reason": ("TEXT", "Why it is right although hardly possible, such as above the maximum."),
    "author": ("HANDLE", "Author; default: the shop's author, else the shop."),
    "date": ("DAY", "Day it was seen, such as 2026-11-25; default: today."),
}


def field_options(command: Command) -> Command:
    """Give a command an option for every field of a note."""
    command = instrument_options(command)
    for name, (metavar, help_text) in reversed(_FIELDS.items()):
        command = click.option(f"--{name}", metavar=metavar, help=help_text)(command)
    return command


def attachment_options(command: Command) -> Command:
    """Give a command ``--attach``, ``--caption`` and ``--full-scale``."""
    command = click.option(
        "--full-scale", metavar="VOLTS",
        help="Volts of full scale, such as '1.4 V', for a capture in a sound file.",
    )(command)  # fmt: skip
    command = click.option(
        "--caption", "captions", multiple=True, metavar="TEXT",
        help="Caption of an attached file; one for each --attach, in the same order.",
    )(command)  # fmt: skip
    return click.option(
        "--attach", "files", multiple=True, metavar="FILE",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A capture that can be read (.csv, .wav ...) or a picture (.png, .jpg); its metadata"
        " is stripped. Repeatable.",
    )(command)  # fmt: skip
