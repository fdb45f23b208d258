"""Ways of signals that the linear network does not tell: switching transistors, transformers, and
loops through the set (line drive to flyback pulse, field output to its sense and guard).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .operating_point import Boards
from .senders import carries_signal, find_sources
from .topology import GROUND, Topology, find_reached

Array = NDArray[Any]

_CARRYING: Final = ("transistor", "transformer", "resistor", "capacitor", "diode",
                    "electrolytic capacitor", "coil", "delay line", "ceramic filter")  # fmt: skip
_LINE_MADE: Final = re.compile(
    r"flyback|line output|anode winding|\beht\b|beam|rectified|protection", re.IGNORECASE
)
_FIELD_MADE: Final = re.compile(r"yoke|field|vertical|guard", re.IGNORECASE)
_LINE_DRIVE: Final = re.compile(
    r"(?<!delay )line drive|horizontal drive|line driver", re.IGNORECASE
)
_FIELD_DRIVE: Final = re.compile(
    r"(vertical|field) (drive|output|pulse output)|output to the yoke", re.IGNORECASE
)
_SAME: Final = re.compile(r"[rb]-y|red|green|blue|left|right|\bu\b|\bv\b")
_WEAKENED: Final = 0.6
_SWITCHING: Final = ("transistor", "transformer")


@dataclass(frozen=True, eq=False)
class Link:
    """A point whose signal comes from a source by parts that switch or wind."""

    source: str
    share: Array
    """The share that the parts on the way leave, on every board."""
    via: str | None = None
    """The point where the signal leaves the drawing, if it is not the source itself."""


def find_drive_pin(topology: Topology, words: re.Pattern[str]) -> str | None:
    """Return the output pin that drives line or field, by the names of pin and stage."""
    for name, pin in topology.pin_at.items():
        if pin.role != "output" or not carries_signal(topology, name):
            continue
        stages = " ".join(b.name for b in topology.blocks_at.get(name, ()) if name in b.outputs)
        if words.search(f"{pin.function} {stages}"):
            return name
    return None


def find_links(boards: Boards, known: set[str]) -> dict[str, Link]:
    """Return how signals reach the points that state one and that no path explains."""
    topology = boards.good.topology
    routes = _find_routes(topology, list(find_sources(topology)))
    links = {}
    for name in topology.expectations:
        if carries_signal(topology, name) and name not in known and name in routes:
            source, refs = routes[name]
            links[name] = Link(source, compute_chain_share(boards, refs))
    return links


def find_outside_loops(boards: Boards) -> dict[str, Link]:
    """Return the outside nodes whose signal or voltage the chip's own drives make.

    Surest first: as the chip file says, as names of nodes tell, through a module, through a
    transistor or transformer.
    """
    topology = boards.good.topology
    links: dict[str, Link] = {}

    def add(node: str, source: str, refs: frozenset[str]) -> None:
        links.setdefault(node, Link(source, compute_chain_share(boards, refs)))

    for node in topology.chip.application.nodes:
        if node.made_by is not None and node.made_by in topology.pin_at:
            add(node.id, node.made_by, _find_chain(topology, node.made_by))
    rails = [s.at for s in boards.good.sources if s.kind == "rail"]
    # The set starts on one rail; others may be scan-rectified.
    outside_nodes = [s.at for s in boards.good.sources if s.kind in ("outside", "drive")]
    outside_nodes += rails if len(rails) > 1 else []
    for name, pin in guess_makers(topology, outside_nodes).items():
        routes = _find_routes(topology, [pin])
        add(name, pin, routes[name][1] if name in routes else _find_chain(topology, pin))
    links |= _find_module_loops(boards, set(links))
    sources = find_sources(topology)
    routes = _find_routes(topology, [name for name in sources if name in topology.pin_at])
    for name in sources:
        # A node behind a transistor or transformer that an output drives.
        if name not in topology.pin_at and name in routes:
            add(name, *routes[name])
    return links


def guess_makers(topology: Topology, outside: list[str]) -> dict[str, str]:
    """Return the pin of the line or field drive that makes each node, as far as names tell.

    ``outside``: the nodes fed from outside the drawing.
    """
    nodes = topology.chip.application.nodes
    names = {node.id: f"{node.id.replace('-', ' ')} {node.name}" for node in nodes}
    makers: dict[str, str] = {}
    for drive_words, made_words in ((_FIELD_DRIVE, _FIELD_MADE), (_LINE_DRIVE, _LINE_MADE)):
        pin = find_drive_pin(topology, drive_words)
        if pin is None:
            continue
        for node in outside:
            name = names.get(node, "")
            # The drive of another chip is no product of this one's.
            if made_words.search(name) and not drive_words.search(name):
                makers.setdefault(node, pin)
    return makers


def _find_module_loops(boards: Boards, known: set[str]) -> dict[str, Link]:
    """Return the nodes at which a module outside gives the chip's output back.

    A delay line for colour difference signals, say: output and input have the same words in their
    names.
    """
    topology = boards.good.topology
    sources = find_sources(topology)
    outputs = [
        name
        for name, pin in topology.pin_at.items()
        if pin.role == "output" and carries_signal(topology, name)
    ]
    links = {}
    for node, stated_at in sources.items():
        if node in topology.pin_at or node in known:
            continue
        makers = [pin for pin in outputs if _are_alike(topology, stated_at, pin)]
        # Two outputs alike leave open which one the module gets.
        if len(makers) == 1:
            via = _find_last_node(topology, makers[0], stated_at)
            links[node] = Link(makers[0], np.ones(boards.count), via)
    return links


def _find_last_node(topology: Topology, pin: str, like: str) -> str | None:
    """Return the node behind an output that is called like the input it comes back to."""
    behind = find_reached(topology.chip, [pin]) - set(topology.pin_at)
    words = _SAME.findall(_read_function(topology, like).casefold())
    named = [
        n for n in sorted(behind) if _SAME.findall(_read_function(topology, n).casefold()) == words
    ]
    return named[0] if named else None


def _are_alike(topology: Topology, one: str, other: str) -> bool:
    """Return whether two points carry one kind of signal, for the same colour or side."""
    first, second = (topology.expectations[name].waveform for name in (one, other))
    if first is None or second is None or first.kind != second.kind:
        return False
    words = [_SAME.findall(_read_function(topology, name).casefold()) for name in (one, other)]
    outside = re.search(r"\b(delay|module|comb)", _read_function(topology, one), re.IGNORECASE)
    return bool(outside) and words[0] == words[1] and bool(words[0])


def _read_function(topology: Topology, name: str) -> str:
    if name in topology.pin_at:
        return topology.pin_at[name].function
    nodes = {node.id: node.name for node in topology.chip.application.nodes}
    return nodes.get(name, "")


def compute_chain_share(boards: Boards, refs: frozenset[str]) -> Array:
    """Return the share left behind a chain of parts when one of them has failed, (boards,)."""
    share = np.ones(boards.count)
    kinds = {part.ref: part.kind for part in boards.good.topology.chip.application.parts}
    for number, fault in enumerate(boards.faults):
        hypothesis = fault.hypothesis
        if hypothesis.kind != "part" or hypothesis.what not in refs:
            continue
        rows = boards.list_rows(number)
        is_switching = kinds[hypothesis.what] in _SWITCHING
        is_open = hypothesis.failure.startswith("open")
        # A shorted capacitor in the chain still passes the signal; a transistor no longer switches.
        if is_open or (is_switching and hypothesis.failure.startswith("shorted")):
            share[rows] = 0.0
        elif is_switching:
            share[rows] = _WEAKENED
    return share


def compute_line_chain_share(boards: Boards) -> Array:
    """Return the share left of the chain from the line drive to the high voltage."""
    pin = find_drive_pin(boards.good.topology, _LINE_DRIVE)
    if pin is None:
        return np.ones(boards.count)
    return compute_chain_share(boards, _find_chain(boards.good.topology, pin))


def _find_routes(topology: Topology, sources: list[str]) -> dict[str, tuple[str, frozenset[str]]]:
    """Return, for points that sources lead to through parts, the nearest source and the parts."""
    routes = {source: (source, frozenset[str]()) for source in sources}
    current_ends = list(sources)
    while current_ends:
        next_ends = []
        for end in current_ends:
            source, refs = routes[end]
            for part in topology.parts_at.get(end, ()):
                if part.kind not in _CARRYING or not _leads_on(part.kind, part.joins, end):
                    continue
                for other in part.joins:
                    is_quiet = topology.is_quiet(other) or "supply" in other
                    if other in routes or other == GROUND or is_quiet:
                        continue
                    routes[other] = (source, refs | {part.ref})
                    # At a pin the way ends: it leads into the chip.
                    if other not in topology.pin_at:
                        next_ends.append(other)
        current_ends = next_ends
    return routes


def _leads_on(kind: str, joins: tuple[str, ...], end: str) -> bool:
    """Return whether a signal at one lead goes on: into a transistor by its base."""
    return kind != "transistor" or joins[0] == end


def _find_chain(topology: Topology, pin: str) -> frozenset[str]:
    """Return the transistors and transformers that a drive pin leads to, and parts between them."""
    routes = _find_routes(topology, [pin])
    switching = [p for p in topology.chip.application.parts if p.kind in _SWITCHING]
    ends = {end for part in switching for end in part.joins}
    chains = [refs for end, (_, refs) in routes.items() if end in ends]
    return frozenset[str]().union(*chains)
