"""A linear network of many boards that differ in little: one factorised matrix for each draw.

Node voltages solve Y v = i (nodal analysis). A fault or a device in another state adds few terms
to Y, each of rank one; the matrix inversion lemma then gives the voltages from the inverse of the
good board. Sources: Ho, Ruehli and Brennan, IEEE Transactions on Circuits and Systems 22 (1975);
Hager, Updating the inverse of a matrix, SIAM Review 31 (1989).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

_CHUNK: Final = 8000  # terms solved at once: what fits the processor's cache
_WIDTHS: Final = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 10_000)
LEAK_SIEMENS: Final = 1e-7  # of the meter that reads a node: 10 MΩ; so none hangs in the air


@dataclass
class Changes:
    """Terms added to the matrices of boards, padded to the same number on each.

    Term k of a board: a current of ``siemens`` times the voltage from ``sense_1`` to ``sense_2``
    flows from ``out_1`` to ``out_2``, and ``amperes`` flow besides, the same way. The last node
    number is ground. All have the shape (boards, terms).
    """

    boards: int
    ground: int
    dtype: Any = np.float64
    used: Array = field(init=False)
    nodes: Array = field(init=False)
    """Out and sense nodes, shape (4, boards, terms)."""
    siemens: Array = field(init=False)
    amperes: Array = field(init=False)

    def __post_init__(self) -> None:
        self.used = np.zeros(self.boards, dtype=np.intp)
        self.nodes = np.zeros((4, self.boards, 0), dtype=np.intp)
        self.siemens = np.zeros((self.boards, 0), dtype=self.dtype)
        self.amperes = np.zeros((self.boards, 0), dtype=self.dtype)
        self._grow(4)

    def _grow(self, width: int) -> None:
        nodes = np.full((4, self.boards, width), self.ground, dtype=np.intp)
        siemens = np.zeros((self.boards, width), dtype=self.dtype)
        amperes = np.zeros((self.boards, width), dtype=self.dtype)
        have = self.nodes.shape[2]
        nodes[:, :, :have] = self.nodes
        siemens[:, :have], amperes[:, :have] = self.siemens, self.amperes
        self.nodes, self.siemens, self.amperes = nodes, siemens, amperes

    def add(
        self,
        boards: Array,
        out: tuple[int, int],
        siemens: Array | complex,
        amperes: Array | complex = 0.0,
        sense: tuple[int, int] | None = None,
    ) -> None:
        """Add a term on some boards (their numbers, each once)."""
        if boards.size == 0:
            return
        slots = self.used[boards]
        if slots.max() >= self.siemens.shape[1]:
            self._grow(2 * self.siemens.shape[1])
        for row, node in enumerate((*out, *(sense or out))):
            self.nodes[row, boards, slots] = node
        self.siemens[boards, slots] = siemens
        self.amperes[boards, slots] = amperes
        self.used[boards] += 1

    def some(self, boards: Array) -> Changes:
        """Return the changes of some boards, by their numbers."""
        other = Changes(boards.size, self.ground, self.dtype)
        other.used = self.used[boards]
        width = max(int(other.used.max(initial=0)), 1)
        other.nodes = self.nodes[:, boards, :width]
        other.siemens, other.amperes = self.siemens[boards, :width], self.amperes[boards, :width]
        return other


class Stamp:
    """The admittance matrices of the good board, one for each draw; ground left out in the end."""

    def __init__(self, draws: int, nodes: int, dtype: Any = np.float64) -> None:
        self.ground = nodes
        self.matrix = np.zeros((draws, nodes + 1, nodes + 1), dtype=dtype)
        self.amperes = np.zeros((draws, nodes + 1), dtype=dtype)
        at = np.arange(nodes)
        self.matrix[:, at, at] = LEAK_SIEMENS

    def add(
        self,
        out: tuple[int, int],
        siemens: Array | complex,
        amperes: Array | complex = 0.0,
        sense: tuple[int, int] | None = None,
    ) -> None:
        """Add a term, as ``Changes`` does, to every draw."""
        sense = sense or out
        for node, sign in ((out[0], 1), (out[1], -1)):
            self.matrix[:, node, sense[0]] += sign * siemens
            self.matrix[:, node, sense[1]] -= sign * siemens
            self.amperes[:, node] -= sign * amperes

    def inverse(self) -> Impedance:
        """Return the impedance matrices."""
        nodes = self.ground
        whole = np.zeros_like(self.matrix)
        whole[:, :nodes, :nodes] = np.linalg.inv(self.matrix[:, :nodes, :nodes])
        return Impedance(whole)


class Impedance:
    """Impedance matrices of the good board, (draws, nodes + 1, nodes + 1), zeros for ground."""

    def __init__(self, matrix: Array) -> None:
        self.matrix = matrix
        self.from_node = np.ascontiguousarray(matrix.transpose(0, 2, 1))
        """What an ampere into a node makes everywhere: (draws, into, everywhere)."""

    def own(self, node: int) -> Array:
        """Return the impedance from a node to ground, shape (draws,)."""
        return np.asarray(self.matrix[:, node, node])

    def across(self, first: int, second: int) -> Array:
        """Return the impedance between two nodes, shape (draws,)."""
        m = self.matrix
        return np.asarray(
            m[:, first, first] + m[:, second, second] - m[:, first, second] - m[:, second, first]
        )


def solve(
    impedance: Impedance,
    draw_of: Array,
    plain: Array,
    changes: Changes,
    columns: Array | None = None,
) -> Array:
    """Return the node voltages of boards, ground last at 0 V.

    ``draw_of``: which draw each board is; ``plain``: voltages that the good board's network would
    show, shape (boards, nodes + 1), see ``without_changes``. With ``columns`` only these nodes are
    returned.
    """
    from_node = impedance.from_node
    if columns is not None:
        from_node = from_node[:, :, columns]
    voltages = (plain if columns is None else plain[:, columns]).copy()
    for width, boards in _alike(changes.used):
        if width == 0:
            continue
        draw, nodes = draw_of[boards], changes.nodes[:, boards, :width]
        currents = _currents(
            impedance.matrix,
            draw,
            plain[boards],
            nodes,
            changes.siemens[boards, :width],
            changes.amperes[boards, :width],
        )
        moved = voltages[boards]
        for term in range(width):
            along = from_node[draw, nodes[0, :, term]] - from_node[draw, nodes[1, :, term]]
            moved -= currents[:, term, None] * along
        voltages[boards] = moved
    return voltages


def without_changes(impedance: Impedance, amperes: Array) -> Array:
    """Return what currents into the nodes of the good board's network make, (boards, nodes + 1).

    Boards are numbered draw by draw within each fault. Not by BLAS: its threads cost more here.
    """
    draws = len(impedance.matrix)
    each = amperes.reshape(-1, draws, amperes.shape[1])
    voltages = np.einsum("bdj,dji->bdi", each, impedance.from_node)
    return np.asarray(voltages.reshape(amperes.shape))


def _alike(used: Array) -> Iterator[tuple[int, Array]]:
    """Yield boards with much the same number of terms, and the most terms among them."""
    low = -1
    for high in _WIDTHS:
        boards = np.flatnonzero((used > low) & (used <= high))
        low = high
        step = max(_CHUNK // (1 + high), 20)
        for begin in range(0, boards.size, step):
            some = boards[begin : begin + step]
            yield int(used[some].max()), some


def _currents(
    impedance: Array, draw: Array, plain: Array, nodes: Array, siemens: Array, extra: Array
) -> Array:
    """Return the current of each term, shape (boards, terms): a small system for each board."""
    out_1, out_2, sense_1, sense_2 = nodes
    which = draw[:, None, None]
    across = (
        impedance[which, sense_1[:, :, None], out_1[:, None, :]]
        - impedance[which, sense_1[:, :, None], out_2[:, None, :]]
        - impedance[which, sense_2[:, :, None], out_1[:, None, :]]
        + impedance[which, sense_2[:, :, None], out_2[:, None, :]]
    )
    sensed = np.take_along_axis(plain, sense_1, 1) - np.take_along_axis(plain, sense_2, 1)
    sensed = sensed - np.einsum("bij,bj->bi", across, extra)
    if nodes.shape[2] == 1:
        steered = siemens * sensed / (1 + siemens * across[:, :, 0])
    else:
        system = np.eye(nodes.shape[2]) + siemens[:, :, None] * across
        steered = np.linalg.solve(system, (siemens * sensed)[:, :, None])[:, :, 0]
    return np.asarray(extra + steered)
