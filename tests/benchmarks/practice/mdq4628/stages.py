"""The state of an MDQ4628 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

from boards.bench import Shown
from boards.board import Board
from boards.faults import Fault

from practice.screen import Screen
from practice.ways import Ways, spread_drive

from .colour import Colour
from .electrics import CHIP, DRIVE, ELECTRICS, PART, RUNS, good_board
from .faults import FAULTS
from .luminance import Luminance

__all__ = ["CHIP", "FAULTS", "good_board", "simulate"]

_MATRIX, _MATRIX_V = ("matrix-r-y", "matrix-g-y", "matrix-b-y"), 7.0
_NO_PICTURE = [("no picture",)]
_DARK_V, _DIM_V = 1.5, 3.3  # black level at pin 20, stated 4.0 V


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    drive = spread_drive(DRIVE, seed)
    board = Board(ELECTRICS, drive, fault, seed)
    ways = Ways(board, Board(ELECTRICS, drive, seed=seed), RUNS)
    colour, luminance = Colour(board, ways, seed), Luminance(board, ways)
    board = board.with_stages(held_v=colour.held_v | luminance.held_v)
    screen = Screen(PART, seed)
    colour.show(screen)
    luminance.show(screen)
    dried = fault.failure("C301")
    if dried and dried.mode == "value":
        screen.show_ripple("pin 7", 0.3)
    symptoms = _picture_symptoms(luminance, colour, board)
    if symptoms != _NO_PICTURE:  # in the dark nobody sees what the colours do
        symptoms += _colour_symptoms(colour, board)
    return screen.finish(board, symptoms, {})


def _picture_symptoms(luminance: Luminance, colour: Colour, board: Board) -> list[tuple[str, ...]]:
    black_v = board.dc["pin 20"]
    patches = max(colour.at_matrix()) > 0.3  # of colour on a dark screen
    # The matrix is coupled for DC: colour difference far too low is black in all three colours.
    black_colours = max(board.dc[node] for node in _MATRIX) < 0.5 * _MATRIX_V
    if black_v < _DARK_V or black_colours or (luminance.output < 0.1 and not patches):
        return list(_NO_PICTURE)
    if luminance.output < 0.6 or black_v < _DIM_V:
        return [("dark picture",)]
    return []


def _colour_symptoms(colour: Colour, board: Board) -> list[tuple[str, ...]]:
    red, green, blue = colour.at_matrix()
    strongest = max(red, blue)
    one_is_missing = min(red, green, blue) < 0.5 * strongest
    if strongest < 0.08:
        return [("no colour",)]
    if one_is_missing or colour.turned_wrong:
        return [("wrong hue",)]
    if board.fault.dead_stage == "pal-switch":
        return [("wrong hue",)]
    if strongest < 0.65:
        return [("weak colour",)]
    if min(red, blue) > 1.4:
        return [("too strong colour", "colour too strong", "too much colour")]
    return []
