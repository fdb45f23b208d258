"""Line and field numbers of 625-line PAL and 525-line NTSC.

Sources: ITU-R BT.470-6 (line and field synchronising signals: tables 1-1, 1-2; colour: table 2),
ITU-R BT.1700 and SMPTE 170M-2004, each read through secondary pages. Numbers marked 'from memory'
could not be read anywhere: clause and table numbers, edge shapes, the lines without burst.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class System:
    """One television system; times in seconds after 0H, the middle of the leading sync edge."""

    lines: int
    line_hz: float
    subcarrier_hz: float
    has_pal_switch: bool
    sync_v: float
    """Sync tip below blanking, of a signal of 1 V from sync tip to white."""
    white_v: float
    setup: float
    """Black over blanking, as a share of white."""
    burst_vpp: float
    sync_s: float
    equalising_s: float
    broad_s: float
    equalising_before: int
    """Half lines with equalising pulses before the broad ones; as many broad ones follow."""
    rise_s: float
    """10 to 90 % of sync edges."""
    burst_start_s: float
    burst_cycles: int
    picture_start_s: float
    front_porch_s: float
    first_picture_half_line: int
    """Counted from the first half line of the field."""
    white_bar: float
    """Height of the white bar of 75 % colour bars, as a share of white."""

    @property
    def line_s(self) -> float:
        return 1 / self.line_hz

    @property
    def field_s(self) -> float:
        return self.lines / 2 / self.line_hz


PAL: Final = System(
    lines=625,
    line_hz=15625.0,
    subcarrier_hz=4433618.75,  # (1135/4 + 1/625) of the line frequency
    has_pal_switch=True,
    sync_v=0.3,
    white_v=0.7,
    setup=0.0,
    burst_vpp=0.3,
    sync_s=4.7e-6,
    equalising_s=2.35e-6,
    broad_s=27.3e-6,
    equalising_before=5,
    rise_s=0.2e-6,
    burst_start_s=5.6e-6,
    burst_cycles=10,
    picture_start_s=10.5e-6,
    front_porch_s=1.5e-6,
    first_picture_half_line=45,  # line 23 from its middle, and line 336
    white_bar=1.0,  # 100/0/75/0
)

NTSC: Final = System(
    lines=525,
    line_hz=4.5e6 / 286,
    subcarrier_hz=315e6 / 88,
    has_pal_switch=False,
    sync_v=40 / 140,
    white_v=100 / 140,
    setup=0.075,
    burst_vpp=40 / 140,
    sync_s=4.7e-6,
    equalising_s=2.3e-6,
    broad_s=27.1e-6,
    equalising_before=6,
    rise_s=0.14e-6,  # SMPTE 170M, from memory
    burst_start_s=5.3e-6,
    burst_cycles=9,
    picture_start_s=9.4e-6,
    front_porch_s=1.5e-6,
    first_picture_half_line=40,
    white_bar=0.75,  # 75/7.5/75/7.5
)

EDGE_S: Final = 0.3e-6
"""10 to 90 % of the burst's envelope and of the bars; from memory."""

LUMA: Final = (0.299, 0.587, 0.114)
"""Y of R, G, B: BT.470, SMPTE 170M."""
U_OF_B_Y: Final = 0.492111
V_OF_R_Y: Final = 0.877283

BARS: Final = (
    (1, 1, 1),
    (1, 1, 0),
    (0, 1, 1),
    (0, 1, 0),
    (1, 0, 1),
    (1, 0, 0),
    (0, 0, 1),
    (0, 0, 0),
)
"""R, G, B of white, yellow, cyan, green, magenta, red, blue, black."""
