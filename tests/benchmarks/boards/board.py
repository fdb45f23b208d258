"""A board with one fault, solved by ngspice: volts, ways of signals, and ohms with the set off."""

from __future__ import annotations

import random
import re
import subprocess
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from .circuit import (
    MODELS,
    Drive,
    Electrics,
    floating_lines,
    held_lines,
    inner_name,
    lines_with_the_set_off,
    node_name,
    outside_lines,
    part_lines,
    pin_lines,
)
from .faults import NO_FAULT, Fault

_METER_OHM = 10e6
_OHMMETER_A = 1e-6  # too little to open a junction through most resistances: common practice
_RESISTOR_SPREAD, _OTHER_SPREAD = 0.01, 0.04
_PATIENCE_S = 60
_VALUE = r"([-+\d.e]+)"

Run = tuple[float, Mapping[str, float]]
"""Hertz, and the amplitude of each source alive: outside nodes, or pins, behind their ohms."""


class SolveError(RuntimeError):
    """ngspice gave no answer for a board."""


def calibrate(electrics: Electrics, more: Mapping[str, float] | None = None) -> Drive:
    """Return the drive with which a good board of exact values reads the catalogue.

    Every stated pin is held at its volts; the current that takes is the drive of its inside.
    ``more`` are open-circuit volts of pins for which the catalogue states none.
    """
    lines = [
        *part_lines(electrics, NO_FAULT, {}),
        *held_lines(electrics),
        *outside_lines(electrics, NO_FAULT),
        *floating_lines(electrics),
        *electrics.more_lines(True),
    ]
    chip = electrics.chip
    held = [pin for pin, role in chip.roles.items() if role != "ground" and pin in chip.nominal_v]
    answer = _run(lines, ["op", *(f"print i(vh{pin[4:]})" for pin in held)])
    taken_a = {f"pin {m[1]}": float(m[2]) for m in re.finditer(rf"i\(vh(\d+)\) = {_VALUE}", answer)}
    if len(taken_a) != len(held):
        raise SolveError(answer[-800:])
    open_circuit_v = {
        pin: chip.nominal_v[pin] - taken_a[pin] * electrics.insides[pin].ohms
        for pin in held
        if pin in electrics.insides
    }
    supply_a = {pin: taken_a[pin] for pin in held if chip.roles[pin] == "supply"}
    return Drive(open_circuit_v | dict(more or {}), supply_a)


@dataclass(frozen=True)
class Board:
    """One board: its electrics, its fault, the spread of its parts, and the rules of its stages."""

    electrics: Electrics
    drive: Drive
    fault: Fault = NO_FAULT
    seed: int | None = None
    """Chooses the parts' deviations; None: all values exact."""
    more_lines: tuple[str, ...] = field(default=())

    def with_stages(
        self,
        held_v: Mapping[str, float] | None = None,
        inner_ohm: Mapping[str, float] | None = None,
        more_lines: Iterable[str] | None = None,
    ) -> Board:
        """Return the same board with pins at the volts, and of the resistance, stages give them."""
        drive = replace(
            self.drive,
            held_v={**self.drive.held_v, **(held_v or {})},
            inner_ohm={**self.drive.inner_ohm, **(inner_ohm or {})},
        )
        lines = self.more_lines if more_lines is None else tuple(more_lines)
        return replace(self, drive=drive, more_lines=lines)

    @cached_property
    def dc(self) -> dict[str, float]:
        """Volts at every point, no meter on it; ``inner pin 3`` is the chip's side of a joint."""
        return _volts_printed(_run(self._lines_on, ["op", "print all"]), self._nodes)

    def transfers(self, runs: Mapping[str, Run]) -> dict[str, dict[str, complex]]:
        """Return the volts at every point in each run: a network driven at one frequency.

        The points are those of ``dc``.
        """
        commands = []
        sources = {name for _, alive in runs.values() for name in alive}
        for hertz, alive in runs.values():
            for source in sorted(sources):
                amplitude = 0.0 if source in self.fault.silent else alive.get(source, 0.0)
                commands.append(f"alter {self._source_name(source)} acmag = {amplitude:g}")
            commands += [f"ac lin 1 {hertz:g} {hertz:g}", "print all", "echo END-OF-RUN"]
        answers = _run(self._lines_on, commands).split("END-OF-RUN")
        return {
            label: _phasors_printed(answer, self._nodes)
            for label, answer in zip(runs, answers, strict=False)
        }

    def meter_dc(self, point: str) -> float:
        """Return the reading of a meter of 10 MΩ at a point."""
        name = node_name(point)
        load = f"RMETER {name} 0 {_METER_OHM:g}"
        answer = _run([*self._lines_on, load], ["op", f"print v({name})"])
        return _only_value(rf"v\({name}\) = {_VALUE}", answer)

    def ohms(self, first: str, second: str = "ground") -> float:
        """Return the resistance between two points with the set off."""
        a, b = node_name(first), node_name(second)
        answer = _run(
            [*self._lines_off, f"IOHM {b} {a} {_OHMMETER_A:g}"],
            ["op", "let drop = " + "-".join(_volts_of(node) for node in (a, b)), "print drop"],
        )
        return abs(_only_value(rf"drop = {_VALUE}", answer)) / _OHMMETER_A

    def ohms_of_each(self, points: Sequence[str]) -> dict[str, float]:
        """Return the resistance of each point to ground with the set off, one after the other."""
        meters = [f"IOHM{number} 0 {node_name(p)} 0" for number, p in enumerate(points)]
        commands = []
        for number, point in enumerate(points):
            commands += [f"alter IOHM{number} = {_OHMMETER_A:g}", "op"]
            commands += [f"print v({node_name(point)})", f"alter IOHM{number} = 0"]
        answer = _run([*self._lines_off, *meters], commands)
        volts = [float(m[1]) for m in re.finditer(rf"^v\(n_\w+\) = {_VALUE}", answer, re.M)]
        if len(volts) != len(points):
            raise SolveError(answer[-800:])
        return {p: abs(v) / _OHMMETER_A for p, v in zip(points, volts, strict=True)}

    @property
    def points(self) -> tuple[str, ...]:
        """All pins and nodes."""
        return self.electrics.chip.points

    @cached_property
    def _nodes(self) -> dict[str, str]:
        """The netlist's name of every point, and of the chip's side of every pin."""
        inner = {f"inner {pin}": inner_name(pin, self.fault) for pin in self.electrics.chip.roles}
        return {point: node_name(point) for point in self.points} | inner

    @cached_property
    def _spread(self) -> dict[str, float]:
        if self.seed is None:
            return {}
        chance = random.Random(self.seed)
        return {
            ref: chance.gauss(0, _RESISTOR_SPREAD if part.kind == "resistor" else _OTHER_SPREAD)
            for ref, part in self.electrics.chip.parts.items()
            if part.kind not in ("crystal", "zener diode")
        }

    @property
    def _lines_on(self) -> list[str]:
        return [
            *part_lines(self.electrics, self.fault, self._spread),
            *pin_lines(self.electrics, self.fault, self.drive),
            *outside_lines(self.electrics, self.fault),
            *floating_lines(self.electrics),
            *self.electrics.more_lines(True),
            *self.more_lines,
        ]

    @property
    def _lines_off(self) -> list[str]:
        return [
            *part_lines(self.electrics, self.fault, self._spread),
            *lines_with_the_set_off(self.electrics, self.fault),
            *floating_lines(self.electrics),
            *self.electrics.more_lines(False),
        ]

    def _source_name(self, source: str) -> str:
        return f"vac{source[4:]}" if source.startswith("pin ") else f"vo_{node_name(source)}"


def _run(lines: Iterable[str], commands: Iterable[str]) -> str:
    deck = [
        "board",
        *MODELS,
        *lines,
        ".options gmin=1e-12 reltol=1e-4",
        ".control",
        "set width=200",
        *commands,
        ".endc",
        ".end",
    ]
    finished = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"],
        input="\n".join(deck),
        capture_output=True,
        text=True,
        timeout=_PATIENCE_S,
        check=False,
    )
    return finished.stdout + finished.stderr


def _volts_of(node: str) -> str:
    """Return the expression of a node's volts; ground has no vector of its own."""
    return "0" if node == "0" else f"v({node})"


def _volts_printed(answer: str, nodes: Mapping[str, str]) -> dict[str, float]:
    volts = {m[1]: float(m[2]) for m in re.finditer(rf"^(n_\w+) = {_VALUE}\s*$", answer, re.M)}
    if not volts:
        raise SolveError(answer[-800:])
    return {point: volts.get(node, 0.0) for point, node in nodes.items()}


def _phasors_printed(answer: str, nodes: Mapping[str, str]) -> dict[str, complex]:
    pattern = rf"^(n_\w+)\s+=?\s*{_VALUE},\s*{_VALUE}"
    phasors = {m[1]: complex(float(m[2]), float(m[3])) for m in re.finditer(pattern, answer, re.M)}
    if not phasors:
        raise SolveError(answer[-800:])
    return {point: phasors.get(node, 0j) for point, node in nodes.items()}


def _only_value(pattern: str, answer: str) -> float:
    match = re.search(pattern, answer)
    if match is None:
        raise SolveError(answer[-800:])
    return float(match[1])
