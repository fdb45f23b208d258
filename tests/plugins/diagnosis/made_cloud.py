"""Clouds made by hand: a good board, and a few faults that move given figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from pinfolio.plugins.diagnosis.board.cloud import FEATURES, Cloud, Hypothesis, Seen

DRAWS = 24


@dataclass(frozen=True)
class Made:
    """One fault, and its effect on points: their figures with it, or a range of them."""

    kind: str
    what: str
    failure: str
    dc: Mapping[str, float | tuple[float, float]] = field(default_factory=dict)
    vpp: Mapping[str, float | tuple[float, float]] = field(default_factory=dict)
    hz: Mapping[str, float | tuple[float, float]] = field(default_factory=dict)
    words: Mapping[str, Seen] = field(default_factory=dict)
    shown: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Good:
    """A point of the good board."""

    dc: float = 0.0
    vpp: float = 0.0
    hz: float = float("nan")


def make_cloud(
    part: str, condition: str, good: Mapping[str, Good], faults: Sequence[Made], draws: int = DRAWS
) -> Cloud:
    """Return the cloud of a good board and these faults, alike but for the figures they move."""
    points = tuple(good)
    count = len(faults) + 1

    def table(name: str, dtype: type) -> np.ndarray:
        row = np.array([getattr(good[point], name) for point in points])
        return np.broadcast_to(row, (count, draws, len(points))).astype(dtype).copy()

    dc, vpp, hz = table("dc", np.float32), table("vpp", np.float32), table("hz", np.float64)
    words = np.zeros((count, draws, len(points)), np.uint8)
    shown = np.ones((count, draws, len(FEATURES)), np.float32)
    for row, fault in enumerate(faults, 1):
        for figures, moved in ((dc, fault.dc), (vpp, fault.vpp), (hz, fault.hz)):
            for at, value in moved.items():
                ends = value if isinstance(value, tuple) else (value, value)
                figures[row, :, points.index(at)] = np.linspace(*ends, draws)
        for at, flag in fault.words.items():
            words[row, :, points.index(at)] = int(flag)
        for name, share in fault.shown.items():
            shown[row, :, FEATURES.index(name)] = share
    hypotheses = (
        Hypothesis("none", "", "", "nothing wrong here", 1.0),
        *(Hypothesis(f.kind, f.what, f.failure, f"{f.what} {f.failure}", 1.0) for f in faults),  # type: ignore[arg-type]
    )
    return Cloud(
        part=part, condition=condition, points=points, hypotheses=hypotheses,
        dc_v=dc, vpp_v=vpp, frequency_hz=hz, ripple_vpp=np.full_like(dc, 1e-3), words=words,
        shown=shown, healthy_dc_v=dc[0, 0], healthy_vpp_v=vpp[0, 0],
        healthy_frequency_hz=hz[0, 0],
    )  # fmt: skip
