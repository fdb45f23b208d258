"""Find the columns of signals and of resistances with the set off, by the words of their heading.

Service manuals give them beside the DC: AC or peak to peak, frequency, the number of a waveform in
a figure, and the ohmmeter's reading with either lead on the pin. Common practice.
"""

from __future__ import annotations

import re
from typing import Final

SIGNAL_KEYS: Final = (
    "vpp", "frequency", "waveform", "ac", "red_on_pin", "black_on_pin", "red_and_black",
)  # fmt: skip
"""Keys of columns whose values become suggestions for review."""

_PEAK_TO_PEAK: Final = re.compile(r"\b([mµu]?)V\s*[\[(]?\s*p\s*-?\s*p\b", re.IGNORECASE)
# Sizes that are no signal of the pin, although they are peak to peak.
_NOT_A_SIGNAL: Final = re.compile(
    r"\b(?:ripple|noise|hum|max\w*|min\w*|limit\w*|suppl\w+|range|thresholds?)\b", re.IGNORECASE
)
_WORDS: Final = (
    ("vpp", r"peak[- ]to[- ]peak(?: (?:voltage|value))?|amplitude p-?p"),
    ("ac", r"ac(?: voltage| level)?|alternating voltage"),
    ("frequency", r"(?:signal )?freq(?:uency|\.)?"),
    ("waveform", r"(?:signal )?(?:wave ?forms?|oscillograms?)(?: (?:no\.?|number|fig\.?))?"),
)
_LEADS: Final = re.compile(r"\b(red|black)\b", re.IGNORECASE)
_OHMIC: Final = re.compile(
    r"Ω|ohms?\b|resistance|\b(?:lead|probe)\b|on pin|to ground", re.IGNORECASE
)
_GROUNDED: Final = re.compile(
    r"\b(red|black)(?: lead| probe)? (?:(?:on|to|at) )?(?:ground|earth|gnd|chassis)", re.IGNORECASE
)


def find_signal_key(heading: str, words: str) -> str | None:
    """Return the key of a column of signals or resistances, or None.

    ``words`` is the heading without its unit.

    >>> find_signal_key("AC (Vpp)", "AC"), find_signal_key("Red lead (kΩ)", "Red lead")
    ('vpp', 'red_on_pin')
    """
    if _PEAK_TO_PEAK.search(heading):
        return None if _NOT_A_SIGNAL.search(heading) else "vpp"
    plain = " ".join(re.sub(r"[|:()\[\]]", " ", words).lower().split())
    for key, pattern in _WORDS:
        if re.fullmatch(pattern, plain):
            return key
    return _find_lead(heading)


def find_peak_unit(heading: str) -> str:
    """Return the unit of a peak-to-peak heading: ``mVpp``; ``Vpp`` where it names none."""
    match = _PEAK_TO_PEAK.search(heading)
    return f"{match[1] if match else ''}Vpp"


def _find_lead(heading: str) -> str | None:
    """Return the key of a column of an ohmmeter's readings; a lead on ground puts the other one on
    the pin."""
    leads = {lead.lower() for lead in _LEADS.findall(heading)}
    if not leads or not _OHMIC.search(heading):
        return None
    if len(leads) > 1 and "/" in heading:
        return "red_and_black"
    if grounded := _GROUNDED.search(heading):
        return "black_on_pin" if grounded[1].lower() == "red" else "red_on_pin"
    return f"{leads.pop()}_on_pin" if len(leads) == 1 else None
