"""The chips whose boards there are to practise on."""

from __future__ import annotations

from importlib import import_module

from boards.report import Boards

ROUNDED = ("pzk3128", "hvq2460", "jxt2814", "ryw5230")
"""Those whose sheet rounds its figures, as makers do; the others read it to a few per cent."""
NAMES = ("mdq4628", "kye4728", "kye2620", "ogx1524", *ROUNDED)


def load_boards(name: str) -> Boards:
    """Return the boards of one chip; its set-up takes some runs of ngspice."""
    stages = import_module(f"practice.{name}.stages")
    return Boards(stages.CHIP, stages.FAULTS, stages.simulate)
