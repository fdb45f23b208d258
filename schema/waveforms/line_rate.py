"""Bases of the kinds that belong to a television system: its line rate and its field rate."""

from ..quantities import print_value
from ..systems import SCANNING, VIDEO_TIMING, Scanning, System, VideoTiming
from .base import Waveform, refusal
from .corners import compute_edge_bandwidth_hz


class LineRate(Waveform):
    """Base of the kinds that repeat with the line; t = 0 is 0H, half-way down line sync."""

    system: System
    """Television system whose rates and timing hold."""

    @property
    def scanning(self) -> Scanning:
        """Rates of the system."""
        return SCANNING[self.system]

    @property
    def timing(self) -> VideoTiming:
        """Timing of the system."""
        return VIDEO_TIMING[self.system]

    @property
    def line_s(self) -> float:
        """Duration of one line in seconds."""
        return float(1 / self.scanning.line_hz)

    @property
    def field_s(self) -> float:
        """Duration of one field in seconds."""
        return float(1 / self.scanning.field_hz)

    @property
    def line_rate(self) -> str:
        """The line frequency in words."""
        return print_value(float(self.scanning.line_hz), "Hz", 5)

    @property
    def period_s(self) -> float:
        """One line."""
        return self.line_s

    @property
    def fastest_hz(self) -> float:
        """The bandwidth of the edges of sync: 0.35 over their rise time."""
        return compute_edge_bandwidth_hz(self.timing.sync_rise_s)

    @property
    def view_s(self) -> float:
        """Two lines."""
        return 2 * self.line_s

    @property
    def trigger(self) -> str:
        """Line sync."""
        return "line sync (TV line)"


class FieldRate(LineRate):
    """Base of the kinds that are looked at over two fields."""

    @property
    def frequency_hz(self) -> float:
        """The field frequency."""
        return float(self.scanning.field_hz)

    @property
    def period_s(self) -> float:
        """One field."""
        return self.field_s

    @property
    def view_s(self) -> float:
        """Two fields."""
        return 2 * self.field_s

    @property
    def trigger(self) -> str:
        """Field sync."""
        return "field sync (TV field)"


def check_quadrature(system: str) -> str:
    """Refuse a system that does not send its colours as U and V on one subcarrier."""
    if system.startswith("SECAM"):
        known = ", ".join(name for name in SCANNING if not name.startswith("SECAM"))
        raise refusal(f"system {system}", f"one of {known}", "PAL-B/G")
    return system
