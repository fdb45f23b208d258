"""The state of an HVQ2460 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

from dataclasses import replace

from boards.bench import Shown
from boards.faults import Fault

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import CHIP, DRIVE, ELECTRICS, PART, RUNS, TRUE_V, draw_field
from .faults import FAULTS
from .field import Field
from .line import Line

__all__ = ["CHIP", "FAULTS", "simulate"]

_GONE, _LITTLE, _TALL, _DRIED_F = 0.05, 0.88, 1.12, 30e-6


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    rules.good = rules.good.with_stages(more_lines=draw_field(1.0))
    rules.board = rules.board.with_stages(more_lines=draw_field(1.0))
    line = Line(rules)
    if not line.line_output:  # which makes the 24 V
        rails_v = {**fault.outside_v, "rail-24v": 0.0}
        rules.board = replace(rules.board, fault=replace(fault, outside_v=rails_v))
    field = Field(rules, line)
    screen = Screen(PART, seed, TRUE_V)
    line.show(screen)
    field.show(screen)
    if rules.value("C418", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("pin 21", 0.3)
    if rules.value("C420", 0.0, 1.0) < _DRIED_F:
        screen.show_ripple("pin 11", 2.5)
    board = rules.settled().with_stages(more_lines=draw_field(min(field.yoke, 1.2)))
    return screen.finish(board, find_symptoms(rules, line, field), rules.meter_v)


def find_symptoms(rules: BoardRules, line: Line, field: Field) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first."""
    if not line.line_output:
        return [("no line drive",)]
    if field.yoke < _GONE:
        return [("no vertical deflection",)]
    shown: list[tuple[str, ...]] = []
    if not line.locked and not field.is_held:
        shown.append(("picture tears and rolls", "picture tears"))
    elif not line.locked:
        shown.append(("picture tears",))
    elif line.is_loose:
        shown.append(("ragged lines",))
    if not field.is_held and line.locked:
        shown.append(("picture rolls",))
    if field.clips or rules.mode("C414") == "shorted" or rules.value("C420", 0.0, 1.0) < _DRIED_F:
        shown.append(("field fold-over",))
    elif field.yoke < _LITTLE:
        shown.append(("little height",))
    elif field.yoke > _TALL:
        shown.append(("too much height",))
    if line.muted and line.locked:
        shown.append(("no sound",))
    return shown
