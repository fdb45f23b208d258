"""The RYW5230's way from luminance and colour difference to three cathodes.

Levels of the eight bars are matrixed as BT.470 has it; the output transistors do with them what
ngspice says. Common practice: contrast by DC from 1 V, saturation from 1.5 V, black levels that
go with the error of their clamp's store, an internal black without clamp pulses, a limiter that
draws contrast back below 4.5 V.
"""

from __future__ import annotations

from dataclasses import replace

from practice.board_rules import BoardRules

from .electrics import BEAM_FOOT_V, COLOURS, GROUND, OUTPUT, STORE, SUPPLY

SUPPLY_ENOUGH_V = 9.0
_KEY_ENOUGH, _BLANKED_V, _TEXT_V = 0.7, 4.0, 1.0
_CONTRAST_FROM_V, _SATURATION_FROM_V, _MOST = 1.0, 1.5, 2.0
_LIMITED_V, _LIMITER_V, _LEAST = 2.5, 2.0, 0.1
_PEAK_FROM_V, _PEAK_V = 3.0, 3.0
_BLACK_PER_BRIGHTNESS, _BLACK_PER_STORE, _BLACK_PER_LUMINANCE = 0.9, 1.2, 0.8
_COLOUR_PER_STORE = 1.0
_BLACK_V, _VOLTS_PER_LEVEL, _ACTIVE = 4.2, 2.5, 0.8
_OFF_V, _HIGHEST_V, _LOWEST_V = 2.2, 9.8, 0.4
_STORE_MATTERS_V = 0.1
_CUT_OFF_V, _MISSHAPEN = 165.0, 0.15
_FOOT_PER_BEAM_V, _ROUNDS, _SETTLED_V = 2.2, 7, 0.12
_BARS = tuple((r * 0.75, g * 0.75, b * 0.75) for g in (1, 0) for r in (1, 0) for b in (1, 0))


class Picture:
    """State of one board: levels at the outputs, swings and rests of the cathodes."""

    def __init__(self, rules: BoardRules) -> None:
        self._rules = rules
        if rules.is_dead("reference"):
            rules.hold("pin 18", 0.1, 200.0)
            rules.board = rules.settled()
        self.alive = rules.inside_v(SUPPLY, GROUND) > SUPPLY_ENOUGH_V
        self._find_keys()
        self._find_inputs()
        self._find_good_cathodes()
        for _ in range(_ROUNDS):  # the beam acts on the limiter, and the limiter on the beam
            self._set_levels()
            self._solve_outputs()
            if self._pull_beam_foot() < _SETTLED_V:
                break

    def _find_keys(self) -> None:
        rules = self._rules
        keys = rules.ways.share("keys", "pin 8") * rules.passes("pin 8")
        keys = 0.0 if "sandcastle-line" in rules.fault.silent else keys
        self.keys = keys
        detects = self.alive and not rules.is_dead("sandcastle-detector")
        self.clamped = detects and keys > _KEY_ENOUGH
        always = rules.inside_v("pin 8", GROUND) > _BLANKED_V
        text = rules.inside_v("pin 21", GROUND) > _TEXT_V
        self.blanked = always or text

    def _find_inputs(self) -> None:
        rules = self._rules

        def arriving(run: str, line: str, pin: str) -> float:
            share = min(rules.ways.share(run, pin), 1.05) * rules.passes(pin)
            return 0.0 if rules.silent(line) else share

        self.at_pins = {
            "pin 3": arriving("luminance", "luminance-line", "pin 3"),
            "pin 1": arriving("r-y", "r-y-line", "pin 1"),
            "pin 2": arriving("b-y", "b-y-line", "pin 2"),
        }
        clamps = (("pin 3", "luminance-clamp"), ("pin 1", "r-y-clamp"), ("pin 2", "b-y-clamp"))
        self.passed = {
            pin: 0.0 if rules.is_dead(stage) else self.at_pins[pin] for pin, stage in clamps
        }

    def _find_good_cathodes(self) -> None:
        good = self._rules.good.dc
        self.good_v = {colour: good[f"cathode-{colour}"] for colour in COLOURS}

    def _control(self, pin: str, from_v: float) -> float:
        rules = self._rules
        usual_v = rules.good.dc[pin] - from_v
        volts = rules.inside_v(pin, GROUND)
        return max(0.0, min((volts - from_v) / usual_v, _MOST))

    def _store_error_v(self, pin: str) -> float:
        rules = self._rules
        error_v = rules.inside_v(pin, GROUND) - rules.good.dc[pin]
        return error_v if abs(error_v) > _STORE_MATTERS_V else 0.0

    def _set_levels(self) -> None:
        """Levels of the bars at the outputs, and their black."""
        rules = self._rules
        self.saturation = self._control("pin 4", _SATURATION_FROM_V)
        if rules.is_dead("saturation-control"):
            self.saturation = 0.0
        limiter_v = rules.inside_v("pin 7", GROUND)
        self.limited = max(_LEAST, min((limiter_v - _LIMITED_V) / _LIMITER_V, 1.0))
        peak_v = rules.inside_v("pin 22", GROUND)
        self.limited *= max(_LEAST, min((peak_v - _PEAK_FROM_V) / _PEAK_V, 1.0))
        self.contrast = self._control("pin 5", _CONTRAST_FROM_V) * self.limited
        if rules.is_dead("contrast-control", "matrix"):
            self.contrast = 0.0
        black_v = _BLACK_PER_BRIGHTNESS * (rules.inside_v("pin 6") - rules.good.dc["pin 6"])
        black_v += _BLACK_PER_LUMINANCE * self._store_error_v("pin 9")
        off_red = _COLOUR_PER_STORE * self._store_error_v("pin 19") * self.saturation
        off_blue = _COLOUR_PER_STORE * self._store_error_v("pin 20") * self.saturation
        shifts_v = {"red": off_red, "green": -0.51 * off_red - 0.19 * off_blue, "blue": off_blue}
        reference = min(rules.of_good("pin 18", GROUND), 1.0)
        self.levels: dict[str, list[float]] = {}
        self.black_v: dict[str, float] = {}
        for number, colour in enumerate(COLOURS):
            own_v = _BLACK_V * reference + black_v + shifts_v[colour]
            own_v += _BLACK_PER_STORE * self._store_error_v(STORE[colour])
            self.black_v[colour] = own_v
            self.levels[colour] = [self.contrast * self._mix(bar, number) for bar in _BARS]

    def _mix(self, bar: tuple[float, float, float], number: int) -> float:
        """Return one bar's level in one colour, from the luminance weights of BT.470."""
        red, green, blue = bar
        y = 0.299 * red + 0.587 * green + 0.114 * blue
        r_y = (red - y) * self.passed["pin 1"] * self.saturation
        b_y = (blue - y) * self.passed["pin 2"] * self.saturation
        return self.passed["pin 3"] * y + (r_y, -0.51 * r_y - 0.19 * b_y, b_y)[number]

    def _solve_outputs(self) -> None:
        """Drive the transistors with rest, black and brightest bar, as ngspice has them."""
        rules = self._rules
        tops_v, rests_v, dark_v = {}, {}, {}
        for colour, pin in OUTPUT.items():
            works = self.alive and not self.blanked and not rules.is_dead(f"{colour}-output")
            levels = self.levels[colour]
            black_v = self.black_v[colour] if self.clamped else _OFF_V
            if not works:
                off_v = _OFF_V if self.alive and not rules.is_dead(f"{colour}-output") else 0.1
                black_v, levels = off_v, [0.0]
            if not self.clamped:
                levels = [0.0]
            mean = _ACTIVE * sum(levels) / len(levels)
            rests_v[pin] = _clip(black_v + _VOLTS_PER_LEVEL * mean)
            dark_v[pin] = _clip(black_v + _VOLTS_PER_LEVEL * min(*levels, 0.0))
            tops_v[pin] = _clip(black_v + _VOLTS_PER_LEVEL * max(*levels, 0.0))
        for pin, volts in rests_v.items():
            rules.hold(pin, volts)
        rest, dark, top = (rules.settled(volts).dc for volts in (rests_v, dark_v, tops_v))
        self.rest_v = {colour: rest[f"cathode-{colour}"] for colour in COLOURS}
        self.swing_v = {
            colour: max(dark[f"cathode-{colour}"] - top[f"cathode-{colour}"], 0.0)
            for colour in COLOURS
        }
        self.output_v = {colour: top[pin] - dark[pin] for colour, pin in OUTPUT.items()}
        self.inner_v = {colour: tops_v[pin] - dark_v[pin] for colour, pin in OUTPUT.items()}

    def _pull_beam_foot(self) -> float:
        """Let the foot of the anode winding follow the beam, and return by how much it moved."""
        rules = self._rules
        if "beam-foot" in rules.fault.outside_v:
            return 0.0
        board = rules.board
        was_v = board.fault.outside_v.get("beam-foot", BEAM_FOOT_V)
        wanted_v = BEAM_FOOT_V - _FOOT_PER_BEAM_V * (self.beam - 1)
        foot_v = (was_v + wanted_v) / 2
        volts = {**board.fault.outside_v, "beam-foot": foot_v}
        rules.board = replace(board, fault=replace(board.fault, outside_v=volts))
        return abs(foot_v - was_v)

    @property
    def is_misshapen(self) -> dict[str, bool]:
        """Whether the bars of each colour have other heights among themselves than they should."""
        found = {}
        for number, colour in enumerate(COLOURS):
            levels, bars = self.levels[colour], [bar[number] for bar in _BARS]
            top = max(*levels, 0.01)
            errors = [abs(a / top - b / 0.75) for a, b in zip(levels, bars, strict=True)]
            found[colour] = max(errors) > _MISSHAPEN
        return found

    @property
    def lit(self) -> dict[str, float]:
        """How far each cathode is below cut-off, 1 in a good set."""
        return {
            colour: max((_CUT_OFF_V - self.rest_v[colour]) / (_CUT_OFF_V - good_v), 0.0)
            for colour, good_v in self.good_v.items()
        }

    @property
    def beam(self) -> float:
        """Beam current, 1 in a good set; the tube's exponent is 2.2 to 2.8, common practice."""
        return min(sum(share**2.5 for share in self.lit.values()) / len(COLOURS), 4.0)


def _clip(volts: float) -> float:
    return max(_LOWEST_V, min(volts, _HIGHEST_V))
