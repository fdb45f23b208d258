"""The state of a PZK3128 board on colour bars, and the symptoms of its set."""

from __future__ import annotations

from boards.bench import Shown
from boards.faults import Fault

from practice.board_rules import BoardRules
from practice.screen import Screen

from .electrics import CHIP, DRIVE, ELECTRICS, PART, RUNS, TRUE_V, draw_audio
from .faults import FAULTS
from .sound import Sound
from .vision import Vision

__all__ = ["CHIP", "FAULTS", "simulate"]

_GONE, _WEAK, _LOW, _PICTURE_LOW = 0.1, 0.7, 0.5, 0.65
_SNOWY_TUNER, _HISSING_CARRIER = 0.1, 0.12
_STRONG, _DRIED_F = 1.2, 20e-6


def simulate(seed: int, fault: Fault) -> Shown:
    """Return the state of a board with this fault; the seed chooses its parts' deviations."""
    rules = BoardRules(ELECTRICS, DRIVE, RUNS, seed, fault)
    rules.board = rules.board.with_stages(more_lines=draw_audio(1.0))
    rules.good = rules.good.with_stages(more_lines=draw_audio(1.0))
    vision = Vision(rules)
    sound = Sound(rules, vision)
    screen = Screen(PART, seed, TRUE_V)
    vision.show(screen)
    sound.show(screen)
    ripples = rules.value("C123") < _DRIED_F
    if ripples:  # the output's swings come through the common feed
        screen.show_ripple("pin 13", 0.3)
    board = rules.settled().with_stages(more_lines=draw_audio(sound.drawn))
    return screen.finish(board, find_symptoms(vision, sound, ripples=ripples), {})


def find_symptoms(vision: Vision, sound: Sound, *, ripples: bool) -> list[tuple[str, ...]]:
    """Return the symptoms of the set, the worst first."""
    no_picture, no_sound = vision.picture < _GONE, sound.loudness < _GONE
    if no_picture and no_sound:
        return [("no picture no sound",)]
    if no_picture:
        return [("no picture with sound",)]
    shown: list[tuple[str, ...]] = []
    if vision.surplus > _STRONG:
        shown.append(("too much contrast",))
    elif vision.pumps:
        shown.append(("dark picture",) if vision.picture < _PICTURE_LOW else ("hum bars",))
    elif vision.picture < _WEAK:
        shown.append(("dark picture",))
    if vision.is_mistuned:
        shown.append(("mistuned", "picture mistuned"))
    elif vision.tuner < _SNOWY_TUNER or vision.at_input < _HISSING_CARRIER:
        shown.append(("snow", "snowy picture"))
    if ripples:
        shown.append(("hum bars",))
    return shown + find_sound_symptoms(sound)


def find_sound_symptoms(sound: Sound) -> list[tuple[str, ...]]:
    """Return the symptom of the sound, if it has one."""
    if sound.loudness < _GONE:
        return [("no sound",)]
    if sound.sounds_bent:
        return [("distorted sound",)]
    return [("weak sound",)] if sound.loudness < _LOW else []
