"""Rules on names and on the references between the parts of a chip file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ..chips.data import ChipData
from ..chips.expectation import Expectation
from ..chips.places import Place, walk_expectations
from ..model import pin_number
from ..text import find_nearest_word, part_key
from .example import write_pin
from .rule import Problem, chip_rule


@chip_rule(
    "names-once",
    title="""Conditions, sources, symptoms, blocks, nodes and parts each have a name of their
    own.""",
    why="They are referred to by name, so one name must mean one thing.",
    fix="Rename one of the two.",
    bad="application: {nodes: [{id: amplifier, name: foot of R1}]}",
    good="application: {nodes: [{id: foot-of-r1, name: foot of R1}]}",
)
def check_names_once(chip: ChipData) -> Iterator[Problem]:
    """Yield each name that is given twice in a list, or to both a block and a node."""
    application = chip.application
    named: tuple[tuple[Place, str, list[str]], ...] = (
        (("conditions",), "name", [condition.name for condition in chip.conditions]),
        (("sources",), "id", [source.id for source in chip.sources]),
        (("symptoms",), "name", [symptom.name for symptom in chip.symptoms]),
        (("blocks",), "id", [block.id for block in chip.blocks]),
        (("application", "nodes"), "id", [node.id for node in application.nodes]),
        (("application", "parts"), "ref", [part.ref for part in application.parts]),
    )
    for place, key, names in named:
        for index, name in enumerate(names):
            if name in names[:index]:
                problem = f"{key} {name} is given twice"
                yield Problem((*place, index, key), problem, "rename one of the two")
    node_ids = [node.id for node in application.nodes]
    # Parts join pins, nodes and "ground"; blocks join pins and blocks: one name space.
    taken = {block.id for block in chip.blocks} | {"ground"}
    for name in sorted(taken & set(node_ids)):
        at = ("application", "nodes", node_ids.index(name), "id")
        problem = f"node {name} has a name that is taken by a block or by ground"
        yield Problem(at, problem, "rename the node")


@chip_rule(
    "references-exist",
    title="""Every expectation names a condition and a source of the chip file, once at a point;
    a parameter names a source, and a supply if it has one.""",
    why="A value in an undescribed condition, or from an unnamed source, cannot be checked.",
    fix="Correct the name, or add the condition, the supply or the source.",
    bad=write_pin(4, "{condition: color bars, dc: 4 V, source: {id: sheet, page: 2}}"),
    good=write_pin(4, "{condition: colour bars, dc: 4 V, source: {id: sheet, page: 2}}"),
)
def check_references_exist(chip: ChipData) -> Iterator[Problem]:
    """Yield each condition, source and supply not described, and each condition repeated."""
    yield from _check_parameters(chip)
    conditions = list(dict.fromkeys(condition.name for condition in chip.conditions))
    sources = list(dict.fromkeys(source.id for source in chip.sources))
    for place, expectation in walk_expectations(chip):
        if expectation.condition not in conditions:
            name = expectation.condition
            yield _describe_unknown_reference((*place, "condition"), "condition", name, conditions)
        if expectation.source.id not in sources:
            name = expectation.source.id
            yield _describe_unknown_reference((*place, "source", "id"), "source", name, sources)
        index = int(place[-1])
        earlier = [other.condition for other in _list_siblings(chip, place)[:index]]
        if expectation.condition in earlier:
            problem = f"condition {expectation.condition!r} is given twice at one point"
            yield Problem((*place, "condition"), problem, "merge the two expectations")


def _check_parameters(chip: ChipData) -> Iterator[Problem]:
    """Yield each source and supply of a parameter that the chip file does not describe."""
    sources = [source.id for source in chip.sources]
    supplies = [supply.name for supply in chip.supplies]
    for index, parameter in enumerate(chip.parameters):
        place: Place = ("parameters", index)
        name, supply = parameter.source.id, parameter.supply
        if name not in sources:
            yield _describe_unknown_reference((*place, "source", "id"), "source", name, sources)
        if supply is not None and supply not in supplies:
            yield _describe_unknown_reference((*place, "supply"), "supply", supply, supplies)


def _describe_unknown_reference(at: Place, noun: str, name: str, known: Sequence[str]) -> Problem:
    problem = f"{noun} {name!r} is not described in the chip file"
    return Problem(at, problem, f"use one of {', '.join(known)}", find_nearest_word(name, known))


def _list_siblings(chip: ChipData, at: Place) -> tuple[Expectation, ...]:
    """Return all expectations of the pin or node that the one at this place belongs to."""
    if at[0] == "pins":
        return chip.pins[int(at[1])].expectations
    return chip.application.nodes[int(at[2])].expectations


@chip_rule(
    "ends-exist",
    title="Blocks, parts, hazards, symptoms and parameters name what exists.",
    why="A part or a block that joins a missing point breaks the signal path.",
    fix="Correct the pin number or the name, or add the node.",
    bad="""
    application:
      parts: [{ref: R1, kind: resistor, value: 4k7, joins: [pin 9, ground]}]
    """,
    good="""
    application:
      parts: [{ref: R1, kind: resistor, value: 4k7, joins: [pin 4, ground]}]
    """,
)
def check_ends_exist(chip: ChipData) -> Iterator[Problem]:
    """Yield each pin, block or node that is named, but is not in the chip file."""
    # A pin of the package that is not listed is missing there, and its name here is right.
    numbers = {pin.number for pin in chip.pins} | set(range(1, chip.package.pins + 1))
    pins = [f"pin {number}" for number in sorted(numbers)]
    blocks = [block.id for block in chip.blocks]
    points = [*pins, *(node.id for node in chip.application.nodes)]
    for place, end in _walk_block_ends(chip):
        yield from _check_end(place, end, [*pins, *blocks], "a pin or a block")
    for index, part in enumerate(chip.application.parts):
        for number, end in enumerate(part.joins):
            place = ("application", "parts", index, "joins", number)
            yield from _check_end(place, end, [*points, "ground"], "a pin, a node or ground")
    for index, hazard in enumerate(chip.hazards):
        if hazard.at is not None:
            place = ("hazards", index, "at")
            yield from _check_end(place, hazard.at, [*points, "ground"], "a pin or a node")
    for index, symptom in enumerate(chip.symptoms):
        for number, sign in enumerate(symptom.observed):
            place = ("symptoms", index, "observed", number, "at")
            yield from _check_end(place, sign.at, points, "a pin or a node")
    for index, parameter in enumerate(chip.parameters):
        for number, pin in enumerate(parameter.pins):
            yield from _check_end(
                ("parameters", index, "pins", number), f"pin {pin}", pins, "a pin"
            )


def _walk_block_ends(chip: ChipData) -> Iterator[tuple[Place, str]]:
    for index, block in enumerate(chip.blocks):
        ends = {"inputs": block.inputs, "outputs": block.outputs, "needs": block.needs}
        for key, names in ends.items():
            for number, name in enumerate(names):
                yield ("blocks", index, key, number), name


def _check_end(at: Place, end: str, known: list[str], noun: str) -> Iterator[Problem]:
    """Yield a problem if the end is not known; no pin number is suggested for a wrong one."""
    if end in known:
        return
    is_pin = pin_number(end) is not None
    near = None if is_pin else find_nearest_word(end, known)
    pin_count = sum(name.startswith("pin ") for name in known)
    hint = f" (there are pins 1 to {pin_count})" if is_pin else ""
    yield Problem(at, f"{end!r} is not in the chip file", f"name {noun} of it{hint}", near)


@chip_rule(
    "relations-elsewhere",
    title="`replaces` and `similar` name other chips.",
    why="A chip listed as its own substitute helps nobody who looks for another one.",
    fix="Name the other chip, or remove the entry.",
    bad="similar: [{part: QZ-1000}]",
    good="similar: [{part: QZ1001}]",
)
def check_relations_elsewhere(chip: ChipData) -> Iterator[Problem]:
    """Yield each relation of a chip to itself."""
    for key, relations in (("replaces", chip.replaces), ("similar", chip.similar)):
        for index, relation in enumerate(relations):
            if part_key(relation.part) == part_key(chip.part):
                problem = f"{relation.part} is listed under its own {key}"
                yield Problem((key, index, "part"), problem, "name another chip")
