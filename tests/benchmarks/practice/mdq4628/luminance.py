"""The luminance half of the MDQ4628: from the delay line to the output, with its black level."""

from __future__ import annotations

from boards.board import Board

from practice.screen import Screen
from practice.ways import Ways

from .colour import is_keyed, limit_beam
from .electrics import CHIP, DRIVE, LUMA_GND, LUMA_V, SUPPLY_ENOUGH_V, supply_v

_BLACK_V, _MEAN_OVER_BLACK_V = 4.0, 0.3
_LOWEST_V = 0.6
_RUN_DOWN_V = 2.0  # of a store that no clamp pulse charges


class Luminance:
    """State of the luminance half of one board; shares are of a good set's signal."""

    def __init__(self, board: Board, ways: Ways) -> None:
        self._board, self._ways = board, ways
        self.alive = supply_v(board, LUMA_V, LUMA_GND) > SUPPLY_ENOUGH_V
        self.at_input = ways.share("picture", "pin 25")
        # The low frequencies are lost and the high ones are not.
        self.is_streaky = ways.share("slow picture", "pin 25") < 0.7 < self.at_input

    def _dead(self, *stages: str) -> bool:
        return self._board.fault.dead_stage in stages

    @property
    def output(self) -> float:
        """Luminance behind the output stage, before its joint."""
        stopped = self._dead("peaking", "contrast-control", "luminance-output")
        if not self.alive or stopped or "pin 25" in self._board.fault.lifted:
            return 0.0
        control = max(0.0, min((self._board.dc["pin 23"] - 1.0) / 1.9, 2.0))
        return self.at_input * control * limit_beam(self._board)

    @property
    def held_v(self) -> dict[str, float]:
        """The volts of clamp store and output as the stages set them."""
        if not self.alive:
            return {}
        if self._dead("luminance-output"):
            return {"pin 20": 0.0}
        store_v = self._board.dc["pin 22"]
        held_v = {}
        if not is_keyed(self._board, self._ways):
            held_v["pin 22"] = store_v = _RUN_DOWN_V  # nothing sets the black level
        moved_v = 1.2 * (self._board.dc["pin 21"] - CHIP.nominal_v["pin 21"])
        moved_v += store_v - CHIP.nominal_v["pin 22"]
        mean_v = max(_BLACK_V + _MEAN_OVER_BLACK_V * self.output + moved_v, _LOWEST_V)
        drop_v = DRIVE.open_circuit_v["pin 20"] - CHIP.nominal_v["pin 20"]
        return held_v | {"pin 20": mean_v + drop_v}

    def show(self, screen: Screen) -> None:
        """Show the signals of the luminance half."""
        streaky = ("distorted",) if self.is_streaky else ()
        screen.show("luminance-node", self._ways.share("picture", "luminance-node"))
        screen.show("pin 25", self.at_input, *streaky)
        at_pad = 0.0 if "pin 20" in self._board.fault.lifted else self.output
        screen.show("pin 20", at_pad, *streaky)
