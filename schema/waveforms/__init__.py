"""Typed waveforms: each kind is stored as written and computes its own volts.

Every module of ``kinds`` is imported here, and every class with a literal ``kind`` registers
itself: a new kind is one class in a file of that folder.
"""

from __future__ import annotations

from functools import reduce
from importlib import import_module
from operator import or_
from pkgutil import iter_modules
from typing import TYPE_CHECKING, Annotated, Final

from pydantic import Field

from . import kinds
from .base import REGISTERED_KINDS, Figures, Samples, Waveform

for _module in iter_modules(kinds.__path__):
    import_module(f"{kinds.__name__}.{_module.name}")

WAVEFORM_KINDS: Final[dict[str, type[Waveform]]] = {
    kind: REGISTERED_KINDS[kind] for kind in sorted(REGISTERED_KINDS, key=str.casefold)
}
"""Each kind by the word that names it in a chip file, in the order of the alphabet."""

if TYPE_CHECKING:
    AnyWaveform = Waveform
else:  # a waveform of any kind, chosen by the word under its key ``kind``
    _UNION = reduce(or_, WAVEFORM_KINDS.values())
    AnyWaveform = Annotated[_UNION, Field(discriminator="kind")]

__all__ = ["WAVEFORM_KINDS", "AnyWaveform", "Figures", "Samples", "Waveform"]
