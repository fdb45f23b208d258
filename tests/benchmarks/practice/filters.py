"""Elements of filters that a netlist has no card for; figures are common practice."""

from __future__ import annotations

from boards.circuit import node_name
from boards.drawn_chip import DrawnPart
from boards.faults import Failure


def if_filter(part: DrawnPart, failure: Failure | None) -> list[str]:
    """Return a surface-wave filter: outputs of some 2.4 kΩ, each; no DC way."""
    source, first, second, _ = (node_name(end) for end in part.joins)
    farad = 1e-18 if failure else 1e-9
    return [
        line
        for label, output in (("A", first), ("B", second))
        for line in (
            f"C{part.ref}{label} {source} {source}_{label} {farad:g}",
            f"R{part.ref}{label} {source}_{label} {output} 2.4k",
        )
    ]


def sound_filter(part: DrawnPart, failure: Failure | None) -> list[str]:
    """Return a ceramic filter for 5.5 MHz, matched to 600 Ω at both ends; no DC way."""
    source, output, ground = (node_name(end) for end in part.joins)
    farad = 1e-18 if failure else 1e-9
    return [
        f"C{part.ref}T {source} {source}_t {farad:g}",
        f"R{part.ref}T {source}_t {output} 300",
        f"C{part.ref}S {source} {source}_s 1n",
        f"R{part.ref}S {source}_s {ground} 600",
    ]


def sound_trap(part: DrawnPart, failure: Failure | None) -> list[str]:
    """Return a series resonance at 5.5 MHz, 100 µH and 8.4 pF, with its plates' 20 pF."""
    top, foot = (node_name(end) for end in part.joins)
    if failure and failure.mode == "shorted":
        return [f"R{part.ref} {top} {foot} 0.3"]
    if failure:
        return [f"C{part.ref} {top} {foot} 1p"]
    return [
        f"C{part.ref}P {top} {foot} 20p",
        f"L{part.ref} {top} {top}_{part.ref} 100u",
        f"C{part.ref} {top}_{part.ref} {top}_{part.ref}b 8.374p",
        f"R{part.ref} {top}_{part.ref}b {foot} 30",
    ]
