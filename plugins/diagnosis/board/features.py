"""Picture and sound, read off the signals that leave the chip's board."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from .cloud import Seen
from .signals import Signal

if TYPE_CHECKING:
    from .settling import Settled

Array = NDArray[Any]

_VIDEO: Final = ("composite video", "SECAM video", "luminance", "multiburst", "staircase")
_CHROMA: Final = "chrominance"
_DIFFERENCE: Final = "colour difference"
_SOUND: Final = ("audio tone",)
_GUNS: Final = ("red", "green", "blue")
_FIELD_OUT: Final = re.compile(
    r"(vertical|field) (drive|output|pulse output)|output to the yoke", re.IGNORECASE
)
_LINE_OUT: Final = re.compile(r"(?<!delay )line drive|horizontal drive", re.IGNORECASE)
_STILL_THE_SIGNAL: Final = 0.3  # of an output: a point behind it that carries it on
_APART: Final = 0.4
_DARK: Final = 0.1  # of a good picture: too little to tell colours by
_MOST: Final = 2.0
_FAR_OFF_LINE: Final = 0.12  # of line frequency: the output stage makes no high voltage any more
_OFF_LINE: Final = 0.004
_LIT: Final = 0.05  # of a good picture: darker, nothing is seen in it
_PALE: Final = 0.3  # of the luminance: below it colour is no longer seen the stronger
_UNSEEN_LOSS: Final = 0.8  # left of a picture: the eye does not miss the rest
_LEAST_CHAIN: Final = 0.3  # left of the parts from the line drive to the high voltage
_LEAST_LINE_DRIVE: Final = 0.35  # of the good drive: with less the line output does not switch
_LOUD_OUTPUT: Final = re.compile(r"loudspeaker|audio output")
_ROUGH: Final = Seen.DISTORTED | Seen.HUM | Seen.CLIPPED | Seen.NOISE | Seen.UNSTABLE
_TUNER_VOLTAGE: Final = re.compile(r"\baft\b|\bafc to the tuner|tuning voltage", re.IGNORECASE)


def read_features(settled: Settled) -> dict[str, Array]:
    """Return how each feature is beside a good set; those that stages told are kept."""
    features = dict(settled.features)
    _set_picture(settled, features)
    _set_sound(settled, features)
    _set_deflection(settled, features)
    _set_tuning(settled, features)
    features["brightness"] = features["brightness"] * np.clip(1 + settled.brightness, 0, _MOST)
    return {name: np.clip(share, 0, _MOST) for name, share in features.items()}


def list_last_points(settled: Settled, fits: Callable[[str], bool]) -> Iterator[tuple[str, Signal]]:
    """Yield output pins for which ``fits`` holds, each with the last drawn signal behind it.

    The picture tube or loudspeaker gets the signal at the end of the drawn parts, not at the pin.
    """
    topology = settled.topology
    for name, pin in topology.pin_at.items():
        if pin.role != "output" or not fits(name):
            continue
        points_behind = [
            point
            for point, path in settled.paths.at.items()
            if path.source == name
            and point not in topology.pin_at
            and path.volts_per_volt > _STILL_THE_SIGNAL
        ]
        # A point with a stated signal is surer to be the end than one without.
        stated_points = [point for point in points_behind if point in topology.expectations]
        last_point = [name, *points_behind, *stated_points][-1]
        signal = settled.find_board_signal(last_point)
        if signal is not None:
            yield name, signal


def _find_kind(settled: Settled, name: str) -> str:
    expectation = settled.topology.expectations.get(name)
    waveform = expectation.waveform if expectation is not None else None
    return waveform.kind if waveform is not None else ""


def _set_picture(settled: Settled, features: dict[str, Array]) -> None:
    """Set the features of the picture from the signals at the video outputs."""
    guns = _list_guns(settled)
    if guns:
        _set_guns(settled, features, guns)
        return

    def list_last(kinds: tuple[str, ...]) -> list[Signal]:
        points = list_last_points(settled, lambda name: _find_kind(settled, name) in kinds)
        return [signal for _, signal in points]

    colours = list_last((_DIFFERENCE,)) or list_last((_CHROMA,))
    for signal in list_last(_VIDEO)[-1:]:
        _apply_video(features, signal, with_colour=not colours)
    if colours:
        levels = np.stack([signal.level for signal in colours])  # colours x boards
        is_apart = np.ptp(levels, axis=0) > _APART * np.maximum(levels.max(axis=0), _DARK)
        # One colour difference without the others makes other colours.
        features["hue"] = features["hue"] * np.where(is_apart, 0.0, 1.0)
        features["saturation"] = features["saturation"] * levels.mean(axis=0)


def _list_guns(settled: Settled) -> dict[str, Signal]:
    """Return the signal of each colour's gun; empty unless all three are driven."""
    outputs = list_last_points(settled, lambda name: _find_kind(settled, name) == "RGB bars")
    signals: dict[str, Signal] = {}
    for name, signal in outputs:
        function = settled.topology.pin_at[name].function.casefold()
        for colour in _GUNS:
            if colour in function:
                signals.setdefault(colour, signal)
    return signals if len(signals) == len(_GUNS) else {}


def _set_guns(settled: Settled, features: dict[str, Array], guns: dict[str, Signal]) -> None:
    """Set the features of a picture that three guns are driven with."""
    levels = np.stack([guns[colour].level for colour in _GUNS])  # colours x boards
    middle = np.median(levels, axis=0)
    for colour, level in zip(_GUNS, levels, strict=True):
        # Where the picture is dark, no colour is missing from it.
        share = np.where(middle > _DARK, level / np.maximum(middle, _DARK), 1.0)
        features[colour] = features[colour] * share
    _set_luminance_and_colour(settled, features, middle, guns["green"])


def _set_luminance_and_colour(
    settled: Settled, features: dict[str, Array], shown: Array, signal: Signal
) -> None:
    """Set luminance and saturation from the stage that drives the guns.

    ``shown`` is the level at the guns, behind the drawn parts; ``signal`` that of the green gun.
    """
    stage_signal = None
    for stage in settled.stages:
        if any(_find_kind(settled, end) == "RGB bars" for end in stage.block.outputs):
            stage_signal = settled.out.get(stage.block.id)
    luminance = stage_signal.level if stage_signal is not None else shown
    colour = stage_signal.colour if stage_signal is not None else signal.colour
    # Losses in the parts behind the pins take from both; small ones nobody sees.
    bars_level = np.maximum(np.maximum(luminance, 0.9 * colour), 0.02)
    parts_share = np.clip(shown / bars_level, 0, 1.5)
    parts_share = np.where(parts_share > _UNSEEN_LOSS, 1.0, parts_share)
    features["luminance"] = features["luminance"] * luminance * parts_share
    # Saturation is colour over luminance, where there is a picture at all.
    is_lit = luminance * parts_share > _LIT
    saturation = np.where(is_lit, colour / np.maximum(luminance, _PALE), colour)
    features["saturation"] = features["saturation"] * saturation
    _set_hum(features, signal)


def _apply_video(features: dict[str, Array], signal: Signal, with_colour: bool) -> None:
    """Set luminance, snow and hum, and saturation if asked for, from one video signal."""
    features["luminance"] = features["luminance"] * signal.level
    if with_colour:
        saturation = signal.colour / np.maximum(signal.level, _PALE)
        saturation = np.where(signal.level > _LIT, saturation, 0)
        features["saturation"] = features["saturation"] * saturation
    is_noisy = (signal.words & Seen.NOISE) > 0
    features["no snow"] = features["no snow"] * np.where(is_noisy, 0.0, 1.0)
    _set_hum(features, signal)


def _set_hum(features: dict[str, Array], signal: Signal) -> None:
    hums = (signal.words & Seen.HUM) > 0
    features["no hum"] = features["no hum"] * np.where(hums, 0.0, 1.0)


def _set_sound(settled: Settled, features: dict[str, Array]) -> None:
    """Set loudness and purity of the sound from the signals at the sound outputs."""
    outputs = list(list_last_points(settled, lambda name: _find_kind(settled, name) in _SOUND))
    if not outputs:
        return
    pins = settled.topology.pin_at
    # The loudspeaker is heard; an output before it counts only where none is drawn.
    loud_outputs = [signal for name, signal in outputs if _LOUD_OUTPUT.search(pins[name].function)]
    signals = loud_outputs or [signal for _, signal in outputs]
    level = np.min([signal.level for signal in signals], axis=0)
    features["sound"] = features["sound"] * level
    words = np.bitwise_or.reduce([signal.words for signal in signals])
    is_rough = ((words & _ROUGH) > 0) & (level > _LIT)
    features["sound clean"] = features["sound clean"] * np.where(is_rough, 0.0, 1.0)


def _set_tuning(settled: Settled, features: dict[str, Array]) -> None:
    """Set tuning from the voltage that goes back to the tuner."""
    boards, topology = settled.boards, settled.topology
    for node in topology.chip.application.nodes:
        if not _TUNER_VOLTAGE.search(node.name):
            continue
        volts = boards.volts[:, topology.index[node.id]]
        good_v = volts[: boards.draws][boards.draw_of]
        share = volts / np.where(np.abs(good_v) > 0.1, good_v, 1.0)
        features["tuning"] = features["tuning"] * np.clip(1.6 - 2 * np.abs(share - 1), 0, 1)


def _set_deflection(settled: Settled, features: dict[str, Array]) -> None:
    """Set raster, height and locks from the signals at the deflection outputs."""
    for _, signal in _list_drives(settled, _FIELD_OUT)[:1]:
        features["height"] = features["height"] * signal.level
        # A distorted drive bends the field; too small a one shows as height alone.
        is_distorted = (signal.words & (Seen.DISTORTED | Seen.CLIPPED)) > 0
        is_bent = is_distorted & (signal.level > _LIT)
        features["field shape"] = features["field shape"] * np.where(is_bent, 0.0, 1.0)
    # The line stage needs its whole drive, near its frequency: else no high voltage, no raster.
    for name, signal in _list_drives(settled, _LINE_OUT)[:1]:
        detune = np.abs(settled.sent.get(name, signal).detune)
        works = (settled.line_chain > _LEAST_CHAIN) & (signal.level > _LEAST_LINE_DRIVE)
        works &= detune < _FAR_OFF_LINE
        features["raster"] = features["raster"] * np.where(works, 1.0, 0.0)
        is_off = (detune > _OFF_LINE) & works
        features["line lock"] = features["line lock"] * np.where(is_off, 0.0, 1.0)
    # A dark screen shows neither lock nor height.
    is_dark = features["raster"] < 0.5
    for feature in ("line lock", "field lock", "height"):
        features[feature] = np.where(is_dark, 1.0, features[feature])


def _list_drives(settled: Settled, words: re.Pattern[str]) -> list[tuple[str, Signal]]:
    """Return the outputs whose pin or stage is named by ``words``, each with its last signal."""
    topology = settled.topology

    def is_named(name: str) -> bool:
        stages = [b.name for b in topology.blocks_at.get(name, ()) if name in b.outputs]
        return bool(words.search(f"{topology.pin_at[name].function} {' '.join(stages)}"))

    return list(list_last_points(settled, is_named))
