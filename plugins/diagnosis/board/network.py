"""A linear network of many boards that differ in little: one factorised matrix for each draw.

Node voltages solve Y v = i (nodal analysis). A fault or a device in another state adds few terms
to Y, each of rank one; the matrix inversion lemma then gives the voltages from the inverse of the
good board. Sources: Ho, Ruehli and Brennan, IEEE Transactions on Circuits and Systems 22 (1975);
Hager, Updating the inverse of a matrix, SIAM Review 31 (1989).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

_CHUNK: Final = 8000  # terms solved at once: what fits the processor's cache
_WIDTHS: Final = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 10_000)
LEAK_SIEMENS: Final = 1e-7  # of the meter that reads a node: 10 MΩ; so none hangs in the air


@dataclass(frozen=True)
class Terms:
    """Terms of boards, in the order of the boards; arrays of one length."""

    board: Array
    nodes: Array
    """Out and sense nodes, shape (4, terms)."""
    siemens: Array
    amperes: Array


class Changes:
    """Terms added to the matrices of boards.

    A term on a board: a current of ``siemens`` times the voltage from ``sense`` 1 to 2 flows from
    ``out`` 1 to 2, and ``amperes`` flow besides, the same way. The last node number is ground.
    """

    def __init__(self, boards: int, ground: int, dtype: Any = np.float64) -> None:
        self.boards, self.ground, self.dtype = boards, ground, dtype
        self._added: list[tuple[Array, Array, Array, Array]] = []
        self._terms: Terms | None = None

    def add(
        self,
        boards: Array,
        out: tuple[int, int],
        siemens: Array | complex,
        amperes: Array | complex = 0.0,
        sense: tuple[int, int] | None = None,
    ) -> None:
        """Add a term on some boards, by their numbers; steered by its own voltage by default."""
        if boards.size == 0:
            return
        nodes = np.array([*out, *(sense or out)], dtype=np.intp)  # shape (4,)
        nodes_of_boards = np.repeat(nodes[:, None], boards.size, axis=1)  # shape (4, boards)
        siemens = np.broadcast_to(np.asarray(siemens, self.dtype), boards.shape)
        amperes = np.broadcast_to(np.asarray(amperes, self.dtype), boards.shape)
        self._added.append((boards, nodes_of_boards, siemens, amperes))
        self._terms = None

    @property
    def terms(self) -> Terms:
        """All terms, sorted by board."""
        if self._terms is None:
            self._terms = self._sort()
        return self._terms

    def _sort(self) -> Terms:
        """Return the terms added so far, in the order of the boards."""
        if not self._added:
            no_figures = np.zeros(0, dtype=self.dtype)
            no_boards = np.zeros(0, dtype=np.intp)
            return Terms(no_boards, np.zeros((4, 0), dtype=np.intp), no_figures, no_figures)
        board = np.concatenate([boards for boards, *_ in self._added])
        nodes = np.concatenate([nodes for _, nodes, *_ in self._added], axis=1)
        siemens = np.concatenate([siemens for *_, siemens, _ in self._added])
        amperes = np.concatenate([amperes for *_, amperes in self._added])
        order = np.argsort(board, kind="stable")
        terms = Terms(board[order], nodes[:, order], siemens[order], amperes[order])
        # Kept sorted, so that later additions are sorted into few pieces.
        self._added = [(terms.board, terms.nodes, terms.siemens, terms.amperes)]
        return terms

    def pick_boards(self, boards: Array) -> Changes:
        """Return the changes of some boards (their numbers, rising), numbered anew from 0."""
        picked = Changes(boards.size, self.ground, self.dtype)
        new_number = np.full(self.boards, -1, dtype=np.intp)  # -1: not picked
        new_number[boards] = np.arange(boards.size)
        terms = self.terms
        kept = np.flatnonzero(new_number[terms.board] >= 0)
        if kept.size:
            kept_boards = new_number[terms.board[kept]]
            picked._added = [
                (kept_boards, terms.nodes[:, kept], terms.siemens[kept], terms.amperes[kept])
            ]
        return picked

    def find_touching(self, is_near: Array) -> Array:
        """Return the boards with a term at one of some nodes, (nodes + 1,) yes or no."""
        terms = self.terms
        near = is_near[terms.nodes].any(axis=0) & (terms.siemens != 0)
        return np.unique(terms.board[near])

    def group_padded(self) -> Iterator[tuple[Array, Array, Array, Array]]:
        """Yield boards with much the same number of terms, and their terms, padded with none.

        Boards (n,), nodes (4, n, width), siemens and amperes (n, width). Groups of one width make
        one array each, for which a solver needs no loop over boards.
        """
        terms = self.terms
        term_counts = np.bincount(terms.board, minlength=self.boards)
        first_terms = np.concatenate([[0], np.cumsum(term_counts)])
        for width, boards in _group_alike(term_counts):
            if width == 0:
                continue
            slots = np.arange(width)
            is_empty = slots >= term_counts[boards][:, None]  # shape (n, width)
            numbers = np.where(is_empty, 0, first_terms[boards][:, None] + slots)
            yield (
                boards,
                np.where(is_empty, self.ground, terms.nodes[:, numbers]),
                np.where(is_empty, 0, terms.siemens[numbers]),
                np.where(is_empty, 0, terms.amperes[numbers]),
            )


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

    def invert(self) -> Impedance:
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
        """Volts everywhere for an ampere into a node: (draws, into, everywhere)."""

    def read_own(self, node: int) -> Array:
        """Return the impedance from a node to ground, shape (draws,)."""
        return np.asarray(self.matrix[:, node, node])

    def read_across(self, first: int, second: int) -> Array:
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
    show, shape (boards, nodes + 1), see ``solve_unchanged``. With ``columns`` only these nodes are
    returned.
    """
    from_node = impedance.from_node
    if columns is not None:
        from_node = from_node[:, :, columns]
    voltages = (plain if columns is None else plain[:, columns]).copy()
    for boards, nodes, siemens, amperes in changes.group_padded():
        draw = draw_of[boards]
        currents = _solve_currents(impedance.matrix, draw, plain[boards], nodes, siemens, amperes)
        changed = voltages[boards]
        for term in range(nodes.shape[2]):
            # Volts at the nodes, for an ampere that the term takes from one and gives the other.
            ohms = from_node[draw, nodes[0, :, term]] - from_node[draw, nodes[1, :, term]]
            changed -= currents[:, term, None] * ohms
        voltages[boards] = changed
    return voltages


def solve_unchanged(impedance: Impedance, amperes: Array) -> Array:
    """Return the volts that currents into the good board's nodes make, (boards, nodes + 1).

    Boards are numbered draw by draw within each fault. Not by BLAS: its threads cost more here.
    """
    draws = len(impedance.matrix)
    each = amperes.reshape(-1, draws, amperes.shape[1])
    voltages = np.einsum("bdj,dji->bdi", each, impedance.from_node)
    return np.asarray(voltages.reshape(amperes.shape))


def _group_alike(used: Array) -> Iterator[tuple[int, Array]]:
    """Yield boards with much the same number of terms, and the most terms among them."""
    low = -1
    for high in _WIDTHS:
        boards = np.flatnonzero((used > low) & (used <= high))
        low = high
        step = max(_CHUNK // (1 + high), 20)
        for begin in range(0, boards.size, step):
            some = boards[begin : begin + step]
            yield int(used[some].max()), some


def _solve_currents(
    impedance: Array, draw: Array, plain: Array, nodes: Array, siemens: Array, extra: Array
) -> Array:
    """Return the current of each term, shape (boards, terms): a small system for each board.

    The good board's network as each pair of terms sees it, (boards, terms, terms), is all that a
    few changed admittances need: the Sherman-Morrison-Woodbury formula.
    """
    out_1, out_2, sense_1, sense_2 = nodes
    draws = draw[:, None, None]
    transfer_ohm = (
        impedance[draws, sense_1[:, :, None], out_1[:, None, :]]
        - impedance[draws, sense_1[:, :, None], out_2[:, None, :]]
        - impedance[draws, sense_2[:, :, None], out_1[:, None, :]]
        + impedance[draws, sense_2[:, :, None], out_2[:, None, :]]
    )
    sensed_v = np.take_along_axis(plain, sense_1, 1) - np.take_along_axis(plain, sense_2, 1)
    sensed_v = sensed_v - np.einsum("bij,bj->bi", transfer_ohm, extra)
    if nodes.shape[2] == 1:
        # One term needs no system of equations.
        steered = siemens * sensed_v / (1 + siemens * transfer_ohm[:, :, 0])
    else:
        system = np.eye(nodes.shape[2]) + siemens[:, :, None] * transfer_ohm
        steered = np.linalg.solve(system, (siemens * sensed_v)[:, :, None])[:, :, 0]
    return np.asarray(extra + steered)
