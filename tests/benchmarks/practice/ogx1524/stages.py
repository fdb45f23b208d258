"""The state of an OGX1524 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

from boards.bench import Shown
from boards.board import Board
from boards.faults import Fault

from practice.screen import Screen
from practice.ways import Ways, spread_drive

from .electrics import CHIP, DRIVE, ELECTRICS, PART, RUNS, good_board
from .faults import FAULTS
from .sound import Sound
from .vision import Vision

__all__ = ["CHIP", "FAULTS", "good_board", "simulate"]

_GONE, _WEAK = 0.1, 0.6
_SNOWY_TUNER = 0.1


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    drive = spread_drive(DRIVE, seed)
    board = Board(ELECTRICS, drive, fault, seed)
    ways = Ways(board, Board(ELECTRICS, drive, seed=seed), RUNS)
    vision = Vision(board, ways)
    sound = Sound(board, ways, vision)
    board = board.with_stages(vision.held_v | sound.held_v, vision.inner_ohm)
    screen = Screen(PART, seed)
    vision.show(screen)
    sound.show(screen)
    dried = fault.failure("C215")
    if dried and dried.mode == "value":
        screen.show_ripple("pin 9", 0.25)
    return screen.finish(board, find_symptoms(vision, sound), {})


def find_symptoms(vision: Vision, sound: Sound) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first."""
    no_picture, no_sound = vision.picture < _GONE, sound.loudness < _GONE
    if no_picture and no_sound:
        return [("no picture no sound",)]
    if no_picture:
        return [("no picture with sound",)]
    shown: list[tuple[str, ...]] = []
    if vision.picture < _WEAK:
        shown.append(("dark picture",))
    if vision.tuner < _SNOWY_TUNER:
        shown.append(("snow", "snowy picture", "noisy picture"))
    if vision.is_mistuned:
        shown.append(("mistuned", "picture mistuned"))
    if no_sound:
        shown.append(("no sound",))
    elif sound.is_bent:
        shown.append(("distorted sound",))
    elif sound.loudness < _WEAK:
        shown.append(("weak sound",))
    return shown
