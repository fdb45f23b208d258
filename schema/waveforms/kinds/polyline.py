"""Any waveform, drawn point by point with straight lines between."""

from functools import cached_property
from itertools import pairwise
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from ...model import Listed
from ...quantities import print_value
from ...quantities.fields import Duration, Voltage
from ..base import Example, PositiveDuration, refusal
from ..corners import WHOLE_EDGE, Corners, compute_edge_bandwidth_hz
from ..straight import Straight

Point = Annotated[tuple[Duration, Voltage], Listed]


class Polyline(Straight):
    """Straight lines through points, against ground; the last one runs on to the next first."""

    floats: ClassVar[bool] = False
    kind: Literal["polyline"]
    example: ClassVar[Example] = {
        "points": [["0 µs", "0 V"], ["5 µs", "3.2 V"], ["64 µs", "0 V"]],
        "repeat": "64 µs",
    }
    points: Annotated[tuple[Point, ...], Listed, Field(min_length=2, max_length=1000)]
    """Time and volts of each point, in order of time."""
    repeat: PositiveDuration
    """Time after which it starts again."""

    @model_validator(mode="after")
    def _check_times(self) -> Self:
        """Raise for times that fall, are negative, or go past the repeat."""
        times = [time for time, _ in self.points]
        for earlier, later in pairwise(times):
            if not earlier.nominal <= later.nominal:
                raise refusal(
                    f"{earlier} before {later}",
                    "points in order of time",
                    f"{later} before {earlier}",
                )
        if times[0].nominal < 0:
            raise refusal(f"first point at {times[0]}", "times from 0 s on", "0 s")
        if times[-1].nominal > self.repeat.nominal:
            raise refusal(
                f"last point at {times[-1]}, after repeat {self.repeat}",
                "all points within one repeat",
                f"repeat: {times[-1]}",
            )
        return self

    @cached_property
    def corners(self) -> Corners:
        """The points as written."""
        t_s = [time.nominal for time, _ in self.points]
        return Corners(self.repeat.nominal, t_s, [level.nominal for _, level in self.points])

    @property
    def fastest_hz(self) -> float:
        """Ten harmonics, or the bandwidth of the steepest of the straight lines."""
        steepest_s = self.corners.shortest_s / WHOLE_EDGE
        return max(10 * self.frequency_hz, compute_edge_bandwidth_hz(steepest_s))

    def describe(self) -> str:
        """Return levels and repetition in words."""
        low_v, high_v, _ = self.extremes_v
        return (
            f"A shape drawn through {len(self.points)} points between {print_value(low_v, 'V')} "
            f"and {print_value(high_v, 'V')}, repeating every {self.repeat} "
            f"({print_value(self.frequency_hz, 'Hz', 5)})."
        )
