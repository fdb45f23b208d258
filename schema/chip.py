"""One integrated circuit type, as read from a chip file and checked by the whole-chip rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import model_validator

from .chips.data import ChipData
from .errors import Unusable

if TYPE_CHECKING:
    from .rules import Finding


class Chip(ChipData):
    """An integrated circuit: identity, package, supplies, stages, surroundings and pins."""

    @model_validator(mode="after")
    def _check_whole(self) -> Chip:
        """Raise ChipRuleError if a rule of the whole chip is broken."""
        from .rules import check_chip

        findings = check_chip(self)
        if findings:
            raise ChipRuleError(findings)
        return self


class ChipRuleError(Unusable):
    """A chip breaks whole-chip rules; ``findings`` holds each with its place in the chip file."""

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        self.findings = findings
        super().__init__("; ".join(finding.message for finding in findings))
