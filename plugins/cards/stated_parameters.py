"""The parameters of a chip as sheet and cards show them, and the citation of any value."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from ...schema.chip import Chip
from ...schema.chips.parameter import Parameter
from ...schema.chips.sources import SourceReference


class StatedParameter(NamedTuple):
    """A parameter in words: name, place, value with limits, test condition and source."""

    parameter: Parameter
    source_words: str

    @property
    def name_words(self) -> str:
        """Name and symbol: ``sandcastle burst key level, V22``."""
        symbol = self.parameter.symbol
        return f"{self.parameter.name}, {symbol}" if symbol else self.parameter.name

    @property
    def place_words(self) -> str:
        """The place it is stated for: ``pin 22``, ``supply VCC1`` or ``whole chip``."""
        parameter = self.parameter
        if parameter.pins:
            numbers = ", ".join(map(str, parameter.pins))
            return f"pin{'s' * (len(parameter.pins) > 1)} {numbers}"
        return f"supply {parameter.supply}" if parameter.supply else "whole chip"

    @property
    def value_words(self) -> str:
        """The value as the chip file writes it: ``min 7.2 V typ 8 V max 8.8 V``."""
        return str(self.parameter.value)

    @property
    def remarks(self) -> str:
        """Test condition and note; empty without either."""
        parameter = self.parameter
        return "; ".join(filter(None, (parameter.test_condition, parameter.note)))

    @property
    def short_source(self) -> str:
        """The source by its id, with page and row: ``sheet, page 7, row 12``."""
        reference = self.parameter.source
        page = f"page {reference.page}" if reference.page else ""
        return ", ".join(filter(None, (reference.id, page, reference.note)))

    @property
    def sentence(self) -> str:
        """The parameter in one line, without its place."""
        remarks = f"; {self.remarks}" if self.remarks else ""
        return f"{self.name_words}: {self.value_words}{remarks} ({self.short_source})"

    def document(self) -> dict[str, Any]:
        """Return the parameter as plain data, values in the unit without prefix."""
        parameter, value = self.parameter, self.parameter.value
        return {
            "name": parameter.name,
            "symbol": parameter.symbol,
            "pins": list(parameter.pins),
            "supply": parameter.supply,
            "value": self.value_words,
            "min": value.low,
            "typ": value.typ,
            "max": value.high,
            "unit": value.unit,
            "test_condition": parameter.test_condition,
            "note": parameter.note,
            "source": self.source_words,
        }


def state_parameters(chip: Chip, parameters: Iterable[Parameter]) -> tuple[StatedParameter, ...]:
    """Return parameters of a chip in words."""
    return tuple(StatedParameter(each, cite_source(chip, each.source)) for each in parameters)


def cite_source(chip: Chip, reference: SourceReference) -> str:
    """Return the source of a value as a citation: kind, title, revision, page, sets, place."""
    source = next((s for s in chip.sources if s.id == reference.id), None)
    if source is None:
        return reference.id
    words = [source.kind, source.title]
    words += [f"revision {source.revision}"] if source.revision else []
    words += [f"page {reference.page}"] if reference.page else []
    words += [f"{reference.sets} sets"] if reference.sets else []
    words += [reference.note] if reference.note else []
    return ", ".join(words)
