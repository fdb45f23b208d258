"""The kinds of waveforms by their words, each imported when it is first asked for.

A chip has waveforms of a few kinds; importing the modules of all of them would take longer than
reading the chip. So the words are read from the files as text, where each kind writes its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cached_property, reduce
from importlib import import_module
from operator import or_
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import Field

from .base import REGISTERED_KINDS, Waveform

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import core_schema

_FOLDER: Final = Path(__file__).with_name("kinds")
_KIND: Final = r'^    kind: Literal\["([^"\n]+)"\]$'


class WaveformKinds(Mapping[str, type[Waveform]]):
    """The class of each kind, by the word that names it in a chip file, in alphabetical order."""

    @cached_property
    def _modules(self) -> dict[str, str]:
        """The name of the module that defines each kind."""
        files = {path.stem: path.read_text("utf-8") for path in _FOLDER.glob("[!_]*.py")}
        found = {kind: name for name in files for kind in re.findall(_KIND, files[name], re.M)}
        return {kind: found[kind] for kind in sorted(found, key=str.casefold)}

    def __getitem__(self, kind: str) -> type[Waveform]:
        """Return the class of a kind, imported; raises KeyError."""
        if kind not in REGISTERED_KINDS:
            import_module(f".kinds.{self._modules[kind]}", __package__)
        return REGISTERED_KINDS[kind]

    def __iter__(self) -> Iterator[str]:
        """Yield the word of every kind."""
        return iter(self._modules)

    def __len__(self) -> int:
        """Return the number of kinds."""
        return len(self._modules)


WAVEFORM_KINDS: Final = WaveformKinds()
"""Each kind by the word that names it in a chip file."""


class ChosenByKind:
    """Pydantic annotation: a model of one of ``models``, chosen by the word under its ``kind``."""

    def __init__(self, models: Mapping[str, type[Waveform]]) -> None:
        self.models = models

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        union: Any = reduce(or_, self.models.values())
        return handler.generate_schema(Annotated[union, Field(discriminator="kind")])


AnyWaveform = Annotated[Waveform, ChosenByKind(WAVEFORM_KINDS)]
"""A waveform of any kind."""
