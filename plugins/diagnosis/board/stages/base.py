"""Traits of every stage of a chip: supply, bias, inputs, outputs."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from .....schema import Block
from ..cloud import Seen
from ..kinds import find_channels, parse_threshold, speaks_of_keys
from ..senders import list_driven_pins, list_needed_pins
from ..signals import Signal, find_weakest, make_good_signal, make_no_signal, show_bars

if TYPE_CHECKING:
    from ..settling import Settled

Array = NDArray[Any]

_CLASSES: dict[str, type[Stage]] = {}

# Below the first share of its supply a stage is dead, above the second it works.
_SUPPLY_DEAD: Final = (0.3, 0.65)
_SUPPLY_WORKS: Final = (0.68, 0.85)
_REFERENCE_DEAD: Final = 0.35
_REFERENCE_WORKS: Final = 0.75
_IDLE_KINDS: Final = (
    "pulse", "line pulse", "field pulse", "sandcastle", "composite sync", "flyback pulse",
    "servo pulse",
)  # fmt: skip
_AXIS: Final = re.compile(r"\b[rb]-y\b")
_SATURATED_V: Final = (0.03, 0.4)  # across a transistor that is left on. Common practice.
_HIGHER: Final = 4.0  # an open collector without the load that held it down
_STUCK_LOW_V: Final = 0.1  # a switched pin whose transistor stays on
_STICKS: Final = 0.2  # of switched pins, those that stay on when their pulses stop
_USUAL_SUPPLY_V: Final = 12.0  # where none is stated
_LEAST_LEVEL: Final = 0.02  # of the good signal: with less, no axis is stronger than the other
_STARVED: Final = 0.35  # of its good current: a follower with less load cannot pull down
_STEP: Final = 0.8  # of the way to a switched pin's mean, in each round
HUM_TIMES: Final = 6.0  # ripple relative to a good board's, from which it shows in signals


class Stage:
    """A stage of the chip on all boards; a subclass says how it works."""

    kind: ClassVar[str] = ""

    def __init_subclass__(cls) -> None:
        """Register the class under its kind."""
        if cls.kind:
            _CLASSES[cls.kind] = cls

    def __init__(self, block: Block, settled: Settled) -> None:
        self.block = block
        self.settled = settled
        self.topology = settled.topology
        self.boards = settled.boards
        self.count = settled.boards.count
        self.channels = find_channels(f"{block.name} {block.id.replace('-', ' ')}")
        ends = dict.fromkeys((*block.outputs, *block.inputs, *block.needs))
        self.pins = [end for end in ends if end in settled.topology.pin_at]
        self.health = np.ones(self.count)  # 1 good, 0 dead; shape (boards,)
        for number, fault in enumerate(self.boards.faults):
            if block.id in fault.health:
                self.health[self.boards.list_rows(number)] = fault.health[block.id]
        self.draws = settled.draws
        self.set_up()

    def set_up(self) -> None:
        """Find pins and figures to work with; called once."""

    def advance(self) -> None:
        """Work out the output from the present inputs."""
        raise NotImplementedError

    # Draws of what nobody knows of a stage

    def draw_figure(self, name: str, low: float, high: float) -> Array:
        """Return a figure of this stage between two ends, the same on all boards of a draw."""
        return self.boards.spread_draws(
            self.draws.draw_uniform(f"{self.block.id}: {name}", low, high)
        )

    def draw_event(self, name: str, chance: float) -> Array:
        """Return yes or no for this stage, the same on all boards of a draw."""
        return self.boards.spread_draws(self.draws.draw_event(f"{self.block.id}: {name}", chance))

    # Pins

    def list_pins(self, *roles: str, among: tuple[str, ...] | None = None) -> list[str]:
        """Return the pins of the stage that have one of some roles."""
        ends = among if among is not None else tuple(self.pins)
        found = [end for end in ends if end in self.topology.pin_at]
        return [end for end in found if self.topology.pin_at[end].role in roles]

    def find_threshold(self, pin: str) -> tuple[str, float] | None:
        """Return ``above`` or ``below`` and the volts, where the pin's function tells a limit."""
        return parse_threshold(self.topology.pin_at[pin])

    # Life

    def compute_vitality(self) -> Array:
        """Return how alive the stage is: its own health, supply, reference; shape (boards,)."""
        return self.health * self.compute_power() * self.compute_bias()

    def compute_power(self) -> Array:
        """Return how well the supplies feed the stage, 0 (dead) to 1; shape (boards,)."""
        power = np.ones(self.count)
        supplies = self.list_pins("supply")
        if not supplies:
            # A stage without a supply pin lives on the supply of its first pin that has one.
            pin = next((p for p in self.pins if p in self.topology.supply_of), None)
            supplies = [self.topology.supply_of[pin]] if pin is not None else []
        dead_below = self.draw_figure("dead below", *_SUPPLY_DEAD)
        works_above = self.draw_figure("works above", *_SUPPLY_WORKS)
        for pin in supplies:
            supply_share = self.settled.compute_share(pin)
            power_here = (supply_share - dead_below) / (works_above - dead_below)
            power = np.minimum(power, np.clip(power_here, 0, 1))
        for pin in self.list_pins("ground"):
            # A raised ground leaves less between the rails; half of the supply is the end.
            raised_v = np.abs(self.boards.volts[:, self.topology.index[pin]])
            supply_v = self.topology.find_nominal_v(supplies[0]) if supplies else _USUAL_SUPPLY_V
            power_left = 2 - raised_v / (0.15 * abs(supply_v) + 0.1)
            power = np.minimum(power, np.clip(power_left, 0, 1))
        return power

    def compute_bias(self) -> Array:
        """Return how far references and biases that it needs suffice."""
        alive = np.ones(self.count)
        for end in self.block.needs:
            if end in self.topology.pin_at:
                if self.topology.pin_at[end].role in ("reference", "decoupling"):
                    alive = np.minimum(
                        alive, self._compute_one_bias(self.settled.compute_share(end))
                    )
            elif end in self.settled.out:
                alive = np.minimum(alive, np.clip(self.settled.out[end].level, 0, 1))
        return alive

    def _compute_one_bias(self, share: Array) -> Array:
        low = np.clip((share - _REFERENCE_DEAD) / (_REFERENCE_WORKS - _REFERENCE_DEAD), 0, 1)
        high = np.clip((1.7 - share) / 0.35, 0, 1)
        return np.minimum(low, high)

    # Signals

    def list_inputs(self) -> dict[str, Signal]:
        """Return the signals that come in, by where from."""
        found = {end: self.settled.find_input_signal(end) for end in self.block.inputs}
        return {end: signal for end, signal in found.items() if signal is not None}

    def is_pulses(self, end: str) -> bool:
        """Return whether an input gets key or timing pulses rather than a signal."""
        if self.block.gated_by:
            return end in self.block.gated_by
        words = end if end not in self.topology.pin_at else self.topology.pin_at[end].function
        return speaks_of_keys(words)

    def list_main_inputs(self) -> dict[str, Signal]:
        """Return the inputs to work on; not keys and controls."""
        found = self.list_inputs()
        return {end: s for end, s in found.items() if not self.is_pulses(end)} or found

    def find_main_input(self) -> Signal:
        """Return the weakest of the main inputs; of two colour differences, both together."""
        inputs = self._join_balanced(self.list_main_inputs())
        differences = [s for end, s in inputs.items() if self._is_difference(end)]
        if len(differences) < 2 or len(differences) < len(inputs):
            return find_weakest(list(inputs.values()), self.count)
        levels = np.stack([signal.level for signal in differences])  # inputs x boards
        # One of them alone makes other colours of all.
        are_apart = np.ptp(levels, axis=0) > 0.4 * np.maximum(levels.max(axis=0), 0.1)
        self.weaken_feature("hue", np.where(are_apart, 0.0, 1.0))
        mean_level = levels.mean(axis=0)
        weakest = find_weakest(differences, self.count)
        return Signal(mean_level, mean_level.copy(), weakest.detune, weakest.words)

    def _join_balanced(self, inputs: dict[str, Signal]) -> dict[str, Signal]:
        """Return the inputs with the two halves of a balanced one as their mean."""
        halves = [end for end in inputs if end in self.topology.pin_at
                  and "balanced" in self.topology.pin_at[end].function.casefold()]  # fmt: skip
        if len(halves) != 2:
            return inputs
        first, second = (inputs[end] for end in halves)
        level, colour = (first.level + second.level) / 2, (first.colour + second.colour) / 2
        words = find_weakest([first, second], self.count).words
        joined = replace(first, level=level, colour=colour, words=words)
        others = {end: signal for end, signal in inputs.items() if end not in halves}
        return {halves[0]: joined} | others

    def _is_difference(self, end: str) -> bool:
        for block in self.topology.chip.blocks:
            if block.id == end:
                return bool(_AXIS.search(block.name.casefold()))
        expectation = self.topology.expectations.get(end)
        waveform = expectation.waveform if expectation is not None else None
        return waveform is not None and waveform.kind == "colour difference"

    def list_keys(self) -> dict[str, Signal]:
        """Return the key pulses that come in."""
        main = self.list_main_inputs()
        return {e: s for e, s in self.list_inputs().items() if self.is_pulses(e) and e not in main}

    def find_hum(self) -> Array:
        """Return where ripple on its supplies and biases is strong enough to show."""
        much = np.zeros(self.count, dtype=bool)
        for pin in self.list_pins("supply", "reference", "decoupling"):
            much |= self.settled.ripple[:, self.topology.index[pin]] > HUM_TIMES
        return much

    def put_out(self, signal: Signal) -> None:
        """Hand a signal on, and send it at the pins that the stage drives."""
        signal = signal.add_seen(Seen.HUM, self.find_hum() & (signal.level > 0.05))
        self.settled.out[self.block.id] = signal
        needed = list_needed_pins(self.topology, self.block)
        for pin in list_driven_pins(self.topology, self.block):
            self.send_at(pin, self.find_inside_signal(signal) if pin in needed else signal)

    def find_inside_signal(self, signal: Signal) -> Signal:
        """Return the signal at a pin that the stage works with: its input."""
        return self.find_main_input().amplify(self.compute_power())

    def _stick_dead_pins(self, pin: str) -> None:
        """Let the pins of a dead stage hang free, or stick at an end."""
        dead = self.health < 0.05
        if not dead.any() or not self.settled.has_source(pin):
            return
        if self.topology.pin_at[pin].role not in ("output", "reference"):
            return
        self.settled.release(pin, dead & self.draw_event(f"{pin} floats", 0.25))
        self.settled.aim_where(
            pin, dead & ~self.draw_event(f"{pin} stays", 0.2), self._compute_dead_emf(pin)
        )

    def _compute_dead_emf(self, pin: str) -> Array:
        """Return the voltage inside the pin of a dead stage: mostly low, or near its supply."""
        supply = self.topology.supply_of.get(pin)
        top = self.settled.read_volts(supply) if supply is not None else np.zeros(self.count)
        saturated = np.minimum(self.boards.spread_draws(
            self.draws.draw_log_uniform(f"{self.block.id}: {pin} saturates", *_SATURATED_V)
        ), 0.1 * np.abs(top))  # fmt: skip
        high = self.draw_event(f"{pin} dead high", 0.35)
        return np.where(
            high, self.draw_figure(f"{pin} high", 0.85, 1.0) * top, saturated * np.sign(top)
        )

    def send_at(self, pin: str, signal: Signal) -> None:
        """Send a signal at a pin, and set the pin's mean voltage to go with it."""
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        presence = np.clip(signal.level, 0, 1)
        if waveform is not None and waveform.kind == "colour difference":
            signal = signal.amplify(self._compute_axis_share(pin))
        if waveform is not None and waveform.kind == "RGB bars":
            signal = show_bars(
                signal,
                self.draw_figure("bars without colour", 0.85, 1.02),
                self.draw_figure("bars without luminance", 0.55, 0.95),
                self.draw_event("odd bars", 0.5),
            )
        if self.topology.is_open_collector(pin) and self.topology.is_pulsed(pin):
            # It swings between ground and the voltage that its load pulls it up to.
            signal = signal.amplify(self._compute_swing_share(pin))
        signal = self._follow_output(pin, signal)
        # Behind a lifted joint the board gets nothing of it.
        is_lifted = self.boards.is_lifted[:, self.topology.index[pin]]
        self.settled.sent[pin] = make_no_signal(self.count).choose_where(is_lifted, signal)
        self.set_rest_voltage(pin, presence)
        self._stick_dead_pins(pin)

    def _compute_swing_share(self, pin: str) -> Array:
        """Return how high a switched pin swings, relative to the good board's."""
        off = self.settled.off_v.get(pin)
        if off is None:
            return np.clip(self.settled.compute_share(pin), 0, _HIGHER)
        good = off[: self.boards.draws][self.boards.draw_of]
        return np.where(good > 0.3, np.clip(off / np.maximum(good, 0.3), 0, _HIGHER), 1.0)

    def _compute_axis_share(self, pin: str) -> Array:
        """Return the level of a pin's own colour axis (R-Y or B-Y) over the mean of both.

        The axis is that of stages and inputs behind the pin whose names contain it; 1 where either
        axis has no such signal.
        """
        axes = _AXIS.findall(self.topology.pin_at[pin].function.casefold())
        if not axes:
            return np.ones(self.count)
        red, blue = (self._find_axis_level(axis) for axis in ("r-y", "b-y"))
        if red is None or blue is None:
            return np.ones(self.count)
        own = red if axes[0] == "r-y" else blue
        # A matrix passes both axes alike; one that is weak shows against their mean.
        mean = np.mean([red, blue], axis=0)
        return np.where(mean > _LEAST_LEVEL, own / np.maximum(mean, _LEAST_LEVEL), 1.0)

    def _find_axis_level(self, axis: str) -> Array | None:
        """Return the level of the nearest stage or input before this one named after an axis.

        The search goes against the signal, all inputs of one distance before those farther off;
        None where no name contains the axis.
        """
        visited, current_names = {self.block.id}, [self.block.id]
        blocks = {block.id: block for block in self.topology.chip.blocks}
        while current_names:
            next_names: list[str] = []
            ends = [end for name in current_names if name in blocks for end in blocks[name].inputs]
            for end in ends:
                pin = self.topology.pin_at.get(end)
                title = pin.function if pin is not None else blocks[end].name
                if axis in title.casefold():
                    signal = self.settled.find_input_signal(end)
                    if signal is not None:
                        return signal.level
                if end not in visited:
                    next_names.append(end)
            visited.update(next_names)
            current_names = next_names
        return None

    def _follow_output(self, pin: str, signal: Signal) -> Signal:
        """Return the output of a follower: without its load outside it cannot pull down."""
        texts = [self.topology.pin_at[pin].function]
        texts += [part.purpose or "" for part in self.topology.parts_at.get(pin, ())]
        is_follower = re.search(r"follower", " ".join(texts), re.I)
        if not is_follower or not self.settled.has_source(pin):
            return signal
        load_share = np.clip(self.settled.compute_current_share(pin), 0, 1)
        is_starved = load_share < _STARVED
        share_left = np.clip(load_share + self.draw_figure("unloaded", 0.1, 0.6), 0, 1)
        signal = signal.amplify(np.where(is_starved, share_left, 1.0))
        return signal.add_seen(Seen.DISTORTED, is_starved)

    def set_rest_voltage(self, pin: str, presence: Array) -> None:
        """Set where a pin's voltage lies when ``presence`` is left of its signal."""
        idle = self.find_idle_v(pin)
        if idle is None or not self.settled.has_source(pin) or pin in self.settled.servoed:
            return
        good = self.settled.read_good_volts(pin)
        if self.topology.is_open_collector(pin):
            self._leave_open_collector(pin, presence)
            return
        self.settled.steer(pin, idle + (good - idle) * presence)

    def _leave_open_collector(self, pin: str, presence: Array) -> None:
        """Leave a pulsed open collector off, or on, when its pulses stop."""
        good_v = self.settled.read_good_volts(pin)
        sticks = self.draw_event(f"{pin} sticks", _STICKS)
        if pin in self.settled.off_v:
            # Its mean is the share of the time that it is off, of what it is then pulled up to.
            off_v = self.settled.off_v[pin]
            idle_v = np.where(sticks, _STUCK_LOW_V, off_v)
            wanted_v = idle_v + (good_v * self._compute_swing_share(pin) - idle_v) * presence
            error_v = wanted_v - self.settled.read_volts(pin)
            step_v = _STEP * error_v / self.settled.compute_gain_from_inside(pin, 1e-3)
            self.settled.aim(pin, self.settled.read_emf(pin) + step_v)
            self.settled.absolute.add(pin)
            return
        # Without that voltage: where the pin would be if its own source had no say.
        gain = self.settled.compute_gain_from_inside(pin)
        source = self.boards.good.sources[self.boards.source_number[pin]]
        inside_v = self.boards.spread_draws(source.emf_v)
        open_v = (good_v - gain * inside_v) / np.maximum(1 - gain, 0.02)
        idle_v = np.where(sticks, _STUCK_LOW_V, open_v)
        self.settled.steer(pin, idle_v + (good_v - idle_v) * presence)

    def find_idle_v(self, pin: str) -> Array | None:
        """Return where a pin lies without its signal: as the catalogue tells, else its foot."""
        if pin in self.topology.idle_dc_v:
            return np.full(self.count, self.topology.idle_dc_v[pin])
        expectation = self.topology.expectations.get(pin)
        waveform = expectation.waveform if expectation is not None else None
        if waveform is not None and waveform.kind in _IDLE_KINDS:
            low, high, mean = waveform.extremes_v
            foot = low if mean - low < high - mean else high
            return np.full(self.count, foot)
        return None

    def make_good_signal(self) -> Signal:
        """Return a signal as it should be."""
        return make_good_signal(self.count)

    def weaken_feature(self, name: str, share: Array) -> None:
        """Weaken a feature of the set."""
        self.settled.features[name] = self.settled.features[name] * share


def find_stage_class(kind: str) -> type[Stage]:
    """Return the class of a kind of stage."""
    return _CLASSES[kind]
