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
    """Yield output pins that fit with the signal at the last drawn point behind each."""
    topology = settled.topology
    for name, pin in topology.pin_at.items():
        if pin.role != "output" or not fits(name):
            continue
        behind = [
            point
            for point, path in settled.paths.at.items()
            if path.source == name
            and point not in topology.pin_at
            and path.volts_per_volt > _STILL_THE_SIGNAL
        ]
        stated = [point for point in behind if point in topology.expectations]
        signal = settled.find_board_signal([name, *behind, *stated][-1])
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
    words = {name: pin.function.casefold() for name, pin in settled.topology.pin_at.items()}
    driven = [
        (words[name], signal)
        for name, signal in list_last_points(
            settled, lambda name: _find_kind(settled, name) == "RGB bars"
        )
    ]
    guns = {
        colour: next((signal for function, signal in driven if colour in function), None)
        for colour in _GUNS
    }
    signals = {colour: signal for colour, signal in guns.items() if signal is not None}
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
    """Set luminance and saturation from the stage behind the guns."""
    whole = None
    for stage in settled.stages:
        pins = [e for e in stage.block.outputs if _find_kind(settled, e) == "RGB bars"]
        if pins:
            whole = settled.out.get(stage.block.id)
    luminance = whole.level if whole is not None else shown
    colour = whole.colour if whole is not None else signal.colour
    # What the parts behind the pins take, they take of both.
    bars = np.maximum(np.maximum(luminance, 0.9 * colour), 0.02)
    parts = np.clip(shown / bars, 0, 1.5)
    parts = np.where(parts > 0.8, 1.0, parts)
    features["luminance"] = features["luminance"] * luminance * parts
    features["saturation"] = features["saturation"] * np.where(
        luminance * parts > 0.05, colour / np.maximum(luminance, 0.3), colour
    )
    _set_hum(features, signal)


def _apply_video(features: dict[str, Array], signal: Signal, with_colour: bool) -> None:
    features["luminance"] = features["luminance"] * signal.level
    if with_colour:
        features["saturation"] = features["saturation"] * np.where(
            signal.level > 0.05, signal.colour / np.maximum(signal.level, 0.3), 0
        )
    noisy = (signal.words & Seen.NOISE) > 0
    features["no snow"] = features["no snow"] * np.where(noisy, 0.0, 1.0)
    _set_hum(features, signal)


def _set_hum(features: dict[str, Array], signal: Signal) -> None:
    hums = (signal.words & Seen.HUM) > 0
    features["no hum"] = features["no hum"] * np.where(hums, 0.0, 1.0)


def _set_sound(settled: Settled, features: dict[str, Array]) -> None:
    """Set the features of the sound from the signals at the sound outputs."""
    outputs = list(list_last_points(settled, lambda name: _find_kind(settled, name) in _SOUND))
    if not outputs:
        return
    spoken = settled.topology.pin_at
    loud = [
        (n, s) for n, s in outputs if re.search(r"loudspeaker|audio output", spoken[n].function)
    ] or outputs
    level = np.min([signal.level for _, signal in loud], axis=0)
    features["sound"] = features["sound"] * level
    rough = np.zeros(settled.boards.count, dtype=bool)
    for _, signal in loud:
        bad = Seen.DISTORTED | Seen.HUM | Seen.CLIPPED | Seen.NOISE | Seen.UNSTABLE
        rough |= (signal.words & bad) > 0
    features["sound clean"] = features["sound clean"] * np.where(rough & (level > 0.05), 0.0, 1.0)


def _set_tuning(settled: Settled, features: dict[str, Array]) -> None:
    """Set tuning from the voltage that goes back to the tuner."""
    boards, topology = settled.boards, settled.topology
    for node in topology.chip.application.nodes:
        if re.search(r"\baft\b|\bafc to the tuner|tuning voltage", node.name, re.IGNORECASE):
            at = topology.index[node.id]
            good = boards.volts[: boards.draws, at][boards.draw_of]
            share = boards.volts[:, at] / np.where(np.abs(good) > 0.1, good, 1.0)
            features["tuning"] = features["tuning"] * np.clip(1.6 - 2 * np.abs(share - 1), 0, 1)


def _set_deflection(settled: Settled, features: dict[str, Array]) -> None:
    """Set raster, height and locks from the signals at the deflection outputs."""
    topology = settled.topology

    def drives(words: re.Pattern[str]) -> list[tuple[str, Signal]]:
        def fits(name: str) -> bool:
            stages = " ".join(b.name for b in topology.blocks_at.get(name, ()) if name in b.outputs)
            return bool(words.search(f"{topology.pin_at[name].function} {stages}"))

        return list(list_last_points(settled, fits))

    for _, signal in drives(_FIELD_OUT)[:1]:
        features["height"] = features["height"] * signal.level
        # A distorted drive bends the field; too small a one shows as height alone.
        bad = ((signal.words & (Seen.DISTORTED | Seen.CLIPPED)) > 0) & (signal.level > 0.05)
        features["field shape"] = features["field shape"] * np.where(bad, 0.0, 1.0)
    # The line stage needs its whole drive, near its frequency: else no high voltage, no raster.
    for name, signal in drives(_LINE_OUT)[:1]:
        sent = settled.sent.get(name, signal)
        works = (
            (settled.line_chain > 0.3)
            & (signal.level > 0.35)
            & (np.abs(sent.detune) < _FAR_OFF_LINE)
        )
        features["raster"] = features["raster"] * np.where(works, 1.0, 0.0)
        off = np.abs(sent.detune) > _OFF_LINE
        features["line lock"] = features["line lock"] * np.where(off & works, 0.0, 1.0)
    # A dark screen shows neither lock nor height.
    dark = features["raster"] < 0.5
    for name in ("line lock", "field lock", "height"):
        features[name] = np.where(dark, 1.0, features[name])
