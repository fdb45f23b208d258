"""A linear network of many boards that differ in little: one factorised matrix for each draw.

Node voltages solve Y v = i (nodal analysis). A fault or a device in another state adds few terms
to Y, each of rank one; the matrix inversion lemma then gives the voltages from the inverse of the
good board. Sources: Ho, Ruehli and Brennan, IEEE Transactions on Circuits and Systems 22 (1975);
Hager, Updating the inverse of a matrix, SIAM Review 31 (1989).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

_CHUNK: Final = 1500  # boards solved at once: what fits the processor's cache
LEAK_SIEMENS: Final = 1e-9  # of the board itself, so that no node hangs in the air


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
    terms: Array = field(init=False)

    def __post_init__(self) -> None:
        self.used = np.zeros(self.boards, dtype=np.intp)
        self._grow(4)

    def _grow(self, width: int) -> None:
        old = getattr(self, "nodes", None)
        nodes = np.full((4, self.boards, width), self.ground, dtype=np.intp)
        siemens = np.zeros((self.boards, width), dtype=self.dtype)
        amperes = np.zeros((self.boards, width), dtype=self.dtype)
        if old is not None:
            have = old.shape[2]
            nodes[:, :, :have] = old
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

    def copy(self) -> Changes:
        """Return the same changes, to be added to."""
        other = Changes(self.boards, self.ground, self.dtype)
        other.nodes, other.siemens = self.nodes.copy(), self.siemens.copy()
        other.amperes, other.used = self.amperes.copy(), self.used.copy()
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

    def inverse(self) -> Array:
        """Return the impedance matrices, with zeros for ground as last row and column."""
        nodes = self.ground
        whole = np.zeros_like(self.matrix)
        whole[:, :nodes, :nodes] = np.linalg.inv(self.matrix[:, :nodes, :nodes])
        return whole


def solve(impedance: Array, draw_of: Array, amperes: Array, changes: Changes) -> Array:
    """Return the node voltages of boards, shape (boards, nodes + 1), ground last at 0 V.

    ``impedance``: of the good board, shape (draws, nodes + 1, nodes + 1); ``draw_of``: which draw
    each board is; ``amperes``: put into each node, shape (boards, nodes + 1).
    """
    voltages = np.empty(amperes.shape, dtype=np.result_type(impedance, amperes))
    order = np.argsort(changes.used, kind="stable")
    for begin in range(0, len(order), _CHUNK):
        boards = order[begin : begin + _CHUNK]
        width = int(changes.used[boards].max(initial=0))
        nodes = changes.nodes[:, boards, :width]
        voltages[boards] = _solve_chunk(
            impedance,
            draw_of[boards],
            amperes[boards],
            nodes,
            changes.siemens[boards, :width],
            changes.amperes[boards, :width],
        )
    return voltages


def _solve_chunk(
    impedance: Array, draw: Array, amperes: Array, nodes: Array, siemens: Array, extra: Array
) -> Array:
    injected = amperes.astype(np.result_type(impedance, amperes))
    at = np.arange(len(draw))[:, None]
    if nodes.shape[2]:
        np.add.at(injected, (at, nodes[0]), -extra)
        np.add.at(injected, (at, nodes[1]), extra)
        injected[:, -1] = 0
    plain = np.empty_like(injected)
    for each in np.unique(draw):
        rows = draw == each
        plain[rows] = injected[rows] @ impedance[each].T
    if not nodes.shape[2]:
        return plain
    out_1, out_2, sense_1, sense_2 = nodes
    z = impedance[draw]
    across = (
        z[at[:, :, None], sense_1[:, :, None], out_1[:, None, :]]
        - z[at[:, :, None], sense_1[:, :, None], out_2[:, None, :]]
        - z[at[:, :, None], sense_2[:, :, None], out_1[:, None, :]]
        + z[at[:, :, None], sense_2[:, :, None], out_2[:, None, :]]
    )
    sensed = np.take_along_axis(plain, sense_1, 1) - np.take_along_axis(plain, sense_2, 1)
    system = np.eye(nodes.shape[2]) + siemens[:, :, None] * across
    currents = np.linalg.solve(system, (siemens * sensed)[:, :, None])[:, :, 0]
    moved = np.zeros_like(injected)
    np.add.at(moved, (at, out_1), currents)
    np.add.at(moved, (at, out_2), -currents)
    moved[:, -1] = 0
    for each in np.unique(draw):
        rows = draw == each
        plain[rows] -= moved[rows] @ impedance[each].T
    return plain
