"""The error of a text that is not the quantity asked for, with the right spelling to offer."""

from __future__ import annotations

import re
from typing import Final

from ..errors import Unusable
from .grammar import NUMBER, read_limits
from .units import POWERS, SPELLINGS, UNITS, WITHOUT_PREFIX


class QuantityError(Unusable):
    """A text that is not the quantity asked for: the text, the form, the right spelling of it.

    ``write`` is None where no spelling of this very value is clearly right.
    """

    def __init__(self, found: str, expected: str, write: str | None = None) -> None:
        self.found, self.expected, self.write = found, expected, write
        repair = "" if write is None else f"; write {write!r}"
        super().__init__(f"{found!r}: expected {expected}{repair}")


def suggest_without_comma(words: str) -> str:
    """Return the words without commas, in each way the comma may be meant."""
    pointed, joined = words.replace(",", "."), words.replace(",", "")
    return f"{pointed} or {joined}" if re.search(r"[0-9],[0-9]{3}(?![0-9])", words) else pointed


# Slips of spelling with their repairs; they are recognised only to suggest the repair.
_REPAIRS: Final = (
    (rf"({NUMBER}) ?- ?({NUMBER} ?[^0-9]+)", r"\1 .. \2"),
    (rf"(.+?) ?\(?({NUMBER}) ?%\)?", r"\1 ± \2 %"),
    (r"(.+?) (min|typ|max)\.?", r"\2 \1"),
    (rf"(.+ ± ?(?=[1-9]){NUMBER})", r"\1 %"),
    (r"(.*?[0-9.])([A-Za-zΩ])\2(.*)", r"\1\2\3"),
)
_LETTERS_LIKE_DIGITS: Final = str.maketrans("OoIl", "0011")
_NEAR_UNIT: Final = 65  # of 100, rapidfuzz ratio: kHs and kHz, uFf and µF


def explain_unreadable(text: str, words: str, unit: str) -> QuantityError:
    """Return the error: a missing unit, another quantity, a slip with one repair, or neither."""
    called, example = UNITS[unit]
    bare = re.fullmatch(rf"({NUMBER}) ?([{''.join(POWERS)}]?)", words)
    if bare is not None:
        prefix = "" if unit in WITHOUT_PREFIX else bare[2]
        missing = f"{called} in {unit}, with its unit"
        write = f"{bare[1]} {prefix}{unit}"
        if write == f"{bare[1]} F":  # whole farads are never meant
            write = f"{bare[1]} pF or {bare[1]} µF"
        return QuantityError(text, missing, write)
    for other in UNITS:
        if other != unit and read_limits(words, other) is not None:
            # Only volts and volts peak to peak are one unit: 12 mA is no slip for 12 mV.
            fixed = re.sub(rf"(?:{SPELLINGS[other]})$", unit, words)
            is_slip = {unit, other} == {"V", "Vpp"} and read_limits(fixed, unit) is not None
            expected = f"{called} in {unit}, not {UNITS[other][0]}"
            return QuantityError(text, expected, fixed if is_slip else None)
    slips = [re.sub("(?i)mhz", "MHz", words)] if unit == "Hz" and "mHz" not in words else []
    slips += [re.sub(rf"(?i)(?:{SPELLINGS[unit]})$", unit, words)]
    slips += [re.sub(f"^{slip}$", right, words) for slip, right in _REPAIRS]
    slips += [re.sub(rf"^({NUMBER})(?= ?±)", rf"\1 {unit}", words)]
    slips += [re.sub("[0-9OoIl.]*[0-9.][0-9OoIl.]*", _write_digits, words)]
    slips += [re.sub(r"(?<=[0-9 ])[^\W0-9]{2,4}", lambda m: _find_near_unit(m[0], unit), words)]
    repair = next((slip for slip in slips if read_limits(slip, unit) is not None), None)
    such = "" if repair else f", such as {example}"
    return QuantityError(text, f"{called} in {unit}{such}", repair)


def _write_digits(number: re.Match[str]) -> str:
    """Return the number with digits for the letters that look like them: 4.0 for 4.O."""
    return number[0].translate(_LETTERS_LIKE_DIGITS)


def _find_near_unit(word: str, unit: str) -> str:
    """Return ``unit`` with the prefix that makes it most like ``word``; ``word`` if none is."""
    from rapidfuzz import process  # not needed where nothing is wrong

    prefixes = [""] if unit in WITHOUT_PREFIX else ["", *POWERS]
    best = process.extractOne(word, [p + unit for p in prefixes], score_cutoff=_NEAR_UNIT)
    return best[0] if best else word
