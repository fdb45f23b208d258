"""The luminance half of the JXT2814: delay line, contrast and beam limiter, clamp, output.

Common practice: contrast by DC from 0.8 V, a limiter that draws it back below 4.5 V, a black
level that goes with the brightness pin and with the error of its store.
"""

from __future__ import annotations

from practice.board_rules import BoardRules
from practice.screen import Screen

from .colour import Colour
from .electrics import LINE_HZ, LUMA_GND

_CONTRAST_FROM_V, _MOST_CONTRAST = 0.8, 2.0
_LIMITED_V, _LIMITER_V = 2.5, 2.0
_BLACK_PER_BRIGHTNESS, _BLACK_PER_STORE = 1.3, 1.5
_UNCLAMPED_V = -1.1
_LOWEST_V, _HIGHEST_V = 0.4, 9.5
_OVERLOAD = 2.2
_UNLOADED = 0.4
_BIAS_OFF, _CLIPPED = 0.25, 0.5
_ENDED = 1.4  # times the usual luminance, where the delay line lost its end


class Luminance:
    """State of the luminance half of one board; shares are of a good set's signal."""

    def __init__(self, rules: BoardRules, colour: Colour) -> None:
        self._rules, self._colour = rules, colour
        self.at_input = 0.0 if rules.silent("video-line") else 1.0
        self.at_input *= min(rules.ways.share("luminance", "pin 24"), 3.0)
        self.rings = rules.ways.share("luminance", "dl-out") > _ENDED
        self._control()
        self._clamp()

    def _control(self) -> None:
        rules = self._rules
        control_v = rules.inside_v("pin 23", LUMA_GND)
        usual_v = rules.good.dc["pin 23"]
        contrast = (control_v - _CONTRAST_FROM_V) / (usual_v - _CONTRAST_FROM_V)
        contrast = max(0.0, min(contrast, _MOST_CONTRAST))
        limiter_v = rules.inside_v("pin 25", LUMA_GND)
        self.limited = max(0.05, min((limiter_v - _LIMITED_V) / _LIMITER_V, 1.0))
        # Biased elsewhere by a leak, the input clips.
        self.clips = abs(rules.of_good("pin 24", LUMA_GND) - 1) > _BIAS_OFF
        works = self._colour.alive and not rules.is_dead("contrast-control", "luminance-output")
        works = works and not rules.is_dead("luminance-clamp")
        gain = contrast * self.limited if works else 0.0
        gain *= _CLIPPED if self.clips else 1.0
        self.output = min(gain * self.at_input * rules.passes("pin 24"), _OVERLOAD)

    def _clamp(self) -> None:
        rules = self._rules
        brightness_v = rules.inside_v("pin 21", LUMA_GND) - rules.good.dc["pin 21"]
        store_v = rules.inside_v("pin 22", LUMA_GND) - rules.good.dc["pin 22"]
        if not self._colour.keyed and self._colour.alive:  # nothing refreshes the store
            rules.hold("pin 22", rules.own_v["pin 22"] + _UNCLAMPED_V / _BLACK_PER_STORE)
            store_v += _UNCLAMPED_V / _BLACK_PER_STORE
        self.black_v = _BLACK_PER_BRIGHTNESS * brightness_v
        self.black_v += _BLACK_PER_STORE * store_v if abs(store_v) > 0.1 else 0.0
        own_v = rules.own_v["pin 20"]
        self.unloaded = rules.mode("R220") == "open"
        self.output *= _UNLOADED if self.unloaded else 1.0
        wanted_v = own_v + self.black_v + (0.4 if self.unloaded else 0.0)
        wanted_v += 0.15 * own_v * (self.output - 1)  # the mean goes with the picture
        if rules.is_dead("luminance-output", "luminance-clamp"):
            wanted_v, self.black_v = 0.3, -own_v
        if self._colour.alive:
            rules.hold("pin 20", max(_LOWEST_V, min(wanted_v, _HIGHEST_V)))

    @property
    def at_matrix(self) -> float:
        """Luminance at the RGB stages."""
        rules = self._rules
        share = min(rules.ways.share("luminance out", "matrix-y"), 1.05)
        return self.output * rules.passes("pin 20") * share

    def show(self, screen: Screen) -> None:
        """Show the signals of the luminance half."""
        rules = self._rules
        comes = 0.0 if rules.silent("video-line") else 1.0
        screen.show("video-line", comes)
        words = ("distorted",) if self.rings else ()
        for point in ("dl-out", "pin 24"):
            screen.show(point, comes * min(rules.ways.share("luminance", point), 3.0), *words)
        in_v = 0.97 * comes * min(rules.ways.share("luminance", "dl-in"), 2.0)
        screen.show_volts("dl-in", in_v, *words, frequency_hz=LINE_HZ)
        bent = self.rings or self.unloaded or self.clips or self.output >= _OVERLOAD
        words = ("distorted",) if bent and self.output > 0.03 else ()
        screen.show("pin 20", self.output * rules.passes("pin 20"), *words)
        screen.show("matrix-y", self.at_matrix, *words)
