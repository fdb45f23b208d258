"""The stages inside the chip, and the small parts around it."""

from typing import Annotated, Self

from pydantic import model_validator

from ..model import Endpoint, Identifier, Listed, Model, Text, Word, YesNo
from ..quantities import Quantity, QuantityError, parse_quantity
from ..quantities.fields import Frequency, Percent, Voltage, describe_refusal
from ..vocabulary import HazardKind, PartKind, StageKind
from .expectation import Expectation

_VALUE_UNIT = {
    "resistor": "Ω",
    "potentiometer": "Ω",
    "capacitor": "F",
    "electrolytic capacitor": "F",
    "trimmer capacitor": "F",
    "coil": "H",
    "crystal": "Hz",
    "ceramic resonator": "Hz",
    "ceramic filter": "Hz",
    "delay line": "s",
    "zener diode": "V",
}


class Block(Model):
    """A functional stage inside the chip, as drawn on its block diagram.

    Signals enter at ``inputs`` and leave at ``outputs``; each names a pin (``pin 9``) or the id
    of another block. ``needs`` names the pins and blocks without which the stage cannot work:
    supplies, clocks, control voltages.
    """

    id: Identifier
    """The short name that others refer to."""
    name: Word
    """Name of the stage: sync separator, burst gate."""
    inputs: Annotated[tuple[Endpoint, ...], Listed] = ()
    """Pins and blocks the signal comes from."""
    outputs: Annotated[tuple[Endpoint, ...], Listed] = ()
    """Pins and blocks the signal goes to."""
    needs: Annotated[tuple[Endpoint, ...], Listed] = ()
    """Pins and blocks it cannot work without: supply, clock, control."""
    kind: StageKind | None = None
    """Kind of stage, where its name does not tell it."""
    gated_by: Annotated[tuple[Endpoint, ...], Listed] = ()
    """Which of its inputs are keys or timing pulses, where their names do not tell."""
    lock_range: Frequency | None = None
    """How far its loop pulls it to either side, for an oscillator."""


class Part(Model):
    """One part around the chip and its ends: pins (``pin 9``), nodes, or ``ground``."""

    ref: Word
    """Reference as printed on the board: C418."""
    kind: PartKind
    """Sort of part."""
    value: Word | None = None
    """Value as marked or written: 4k7, 100 nF, 104K, 4.43361875 MHz."""
    tolerance: Percent | None = None
    """Tolerance that matters here, where it does."""
    rating: Voltage | None = None
    """Voltage rating."""
    dielectric: Word | None = None
    """Dielectric or type where it matters: C0G, X7R, polypropylene."""
    joins: Annotated[tuple[Endpoint, ...], Listed]
    """Ends of its leads, in order; the positive lead of a polarised part first."""
    purpose: Text | None = None
    """Purpose, as a technician would put it."""
    why: Text | None = None
    """Why a value is unusual: a crystal away from the system's subcarrier."""

    @model_validator(mode="after")
    def _check_value(self) -> Self:
        """Raise ValueError for fewer than two ends, or a value that is not in the part's unit."""
        if len(self.joins) < 2:
            raise ValueError(
                f"{self.ref} joins fewer than two ends; name two or more, such as [pin 9, ground]"
            )
        unit = _VALUE_UNIT.get(self.kind)
        if unit is None or self.value is None:
            return self
        try:
            parse_quantity(self.value, unit)
        except QuantityError as refusal:
            raise describe_refusal(refusal, "value") from None
        return self

    @property
    def quantity(self) -> Quantity | None:
        """The value in SI units, or None for a part that has no such value."""
        unit = _VALUE_UNIT.get(self.kind)
        return parse_quantity(self.value, unit) if unit and self.value else None


class Hazard(Model):
    """Something at a pin or node, or in the whole set, that can hurt."""

    kind: HazardKind
    """Kind of danger."""
    at: Endpoint | None = None
    """Where: a pin or node; everywhere when left out."""
    caution: Text
    """Precaution to take."""
    probe: YesNo = True
    """No when the point must never be suggested as a place to probe."""


class Node(Model):
    """A point of the application that is not a pin and can be probed."""

    id: Identifier
    """The short name that parts and expectations refer to."""
    name: Text
    """Where it is, in words: collector of the line driver."""
    made_by: Endpoint | None = None
    """The output of this chip that makes it through the set: the line drive, for a flyback."""
    expectations: Annotated[tuple[Expectation, ...], Listed] = ()
    """Expected DC, waveform and resistance, condition by condition."""


class Application(Model):
    """The parts around the chip, the nodes between them, and the pull-in range."""

    parts: Annotated[tuple[Part, ...], Listed] = ()
    """The parts, in the order of the board's references."""
    nodes: Annotated[tuple[Node, ...], Listed] = ()
    """Points that are not pins."""
    pull_in: Frequency | None = None
    """How far the oscillator's crystal may be off and still be pulled in."""
