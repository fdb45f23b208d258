"""Read a record straight from an oscilloscope over VISA, with the generic queries of SCPI.

Sent are ``*IDN?``, the source and the text format of the waveform, and queries; nothing that stops,
starts or sets the instrument. Only this module reaches out, to the address it is given.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from ...schema.errors import PinfolioError
from ...schema.quantities import print_value
from ...schema.text import visible
from .capture import MOST_BYTES, MOST_SAMPLES, Capture, UnknownChannel
from .time_axis import LEAST_INTERVAL_S, LONGEST_INTERVAL_S
from .waveform_preamble import AnswerError, parse_preamble, parse_samples

if TYPE_CHECKING:
    from pyvisa.resources import MessageBasedResource

_WAIT_MS: Final = 5000  # a long record takes a while to be written as text
_WAIT_FOR_SETTING_MS: Final = 500
_MOST_CHANNELS: Final = 8
_CHUNK_BYTES: Final = 65_536
_LONGEST_ANSWER: Final = 60
_LONGEST_NAME: Final = 40


class ScopeLinkError(PinfolioError):
    """An instrument that cannot be reached or answers otherwise; the message names its address."""


def read_scope(address: str, channel: str) -> Capture:
    """Return the record of a channel that an instrument shows, with its settings as a remark.

    ``address`` is a VISA resource name, or a host. Raises UnknownChannel, ScopeLinkError.
    """
    number = _parse_channel(channel)
    with _open(address) as scope, _name_errors(address):
        makers_name = _ask(scope, "*IDN?")
        scope.write(f":WAVeform:SOURce CHANnel{number}")
        scope.write(":WAVeform:FORMat ASCii")
        preamble = parse_preamble(_ask(scope, ":WAVeform:PREamble?"))
        if not 0 <= preamble.points <= MOST_SAMPLES:
            raise AnswerError(f"{preamble.points:,} samples: expected at most {MOST_SAMPLES:,}")
        if not LEAST_INTERVAL_S <= preamble.x_increment_s <= LONGEST_INTERVAL_S:
            apart = print_value(preamble.x_increment_s, "s")
            raise AnswerError(f"samples {apart} apart: expected between 10 fs and an hour")
        scope.write(":WAVeform:DATA?")
        volts = parse_samples(_read(scope), preamble)
        remark = _describe(makers_name, _read_settings(scope, number))
    t_s = preamble.compute_times_s(len(volts))
    return Capture(t_s, (volts,), preamble.x_increment_s, (f"CH{number}",), (remark,))


def _parse_channel(channel: str) -> int:
    """Return the number in a channel's name. Raises UnknownChannel."""
    match = re.fullmatch(r"(?:CH|CHAN|CHANNEL)? ?(\d)", channel.strip(), re.IGNORECASE)
    if match is None or not 1 <= int(match[1]) <= _MOST_CHANNELS:
        raise UnknownChannel(f"channel {channel!r}: expected 1 to {_MOST_CHANNELS}")
    return int(match[1])


@contextmanager
def _open(address: str) -> Iterator[MessageBasedResource]:
    """Yield the instrument at an address, connected. Raises ScopeLinkError."""
    try:
        import pyvisa
        from pyvisa.resources import MessageBasedResource
    except ImportError:
        raise ScopeLinkError(
            "reading an instrument needs pyvisa: pip install 'pinfolio[scope]'"
        ) from None
    name = address if "::" in address else f"TCPIP::{address}::INSTR"
    try:
        manager = pyvisa.ResourceManager()
        resource = manager.open_resource(name, open_timeout=_WAIT_MS, timeout=_WAIT_MS)
    except Exception as error:  # each transport has errors of its own
        reason = " ".join(str(error).split())
        raise ScopeLinkError(
            f"{visible(address)}: cannot connect: {visible(reason)}; check address and cable"
        ) from None
    try:
        if not isinstance(resource, MessageBasedResource):
            raise ScopeLinkError(f"{visible(address)}: no instrument; check the address")
        resource.write_termination = "\n"
        yield resource
    finally:
        resource.close()
        manager.close()


@contextmanager
def _name_errors(address: str) -> Iterator[None]:
    """Turn errors of the link and odd answers into ScopeLinkError with the address."""
    try:
        yield
    except (PinfolioError, MemoryError):
        raise
    except AnswerError as odd:
        raise ScopeLinkError(f"{visible(address)}: {visible(str(odd))}") from None
    except Exception as error:  # each transport has errors of its own
        reason = " ".join(str(error).split())
        raise ScopeLinkError(
            f"{visible(address)}: no answer: {visible(reason)}; save the record as a file instead"
        ) from None


def _ask(scope: MessageBasedResource, query: str) -> str:
    scope.write(query)
    return _read(scope).decode("latin-1").strip()


def _read(scope: MessageBasedResource) -> bytes:
    """Return an answer, which ends at the latest with as many bytes as a record may have."""
    from pyvisa.constants import StatusCode

    answer, status = bytearray(), StatusCode.success_max_count_read
    while status == StatusCode.success_max_count_read:
        part, status = scope.visalib.read(scope.session, _CHUNK_BYTES)
        answer += part
        if len(answer) > MOST_BYTES:
            raise AnswerError("an answer without end: expected a record")
    return bytes(answer)


def _read_settings(scope: MessageBasedResource, number: int) -> dict[str, str]:
    """Return the answers to queries of settings; those that are not answered are left out."""
    from pyvisa.errors import Error

    queries = {
        "coupling": f":CHANnel{number}:COUPling?",
        "volts": f":CHANnel{number}:SCALe?",
        "time": ":TIMebase:SCALe?",
        "probe": f":CHANnel{number}:PROBe?",
    }
    settings = {}
    scope.timeout = _WAIT_FOR_SETTING_MS
    for name, query in queries.items():
        try:
            settings[name] = _ask(scope, query)[:_LONGEST_ANSWER]
        except (Error, OSError):
            continue
    return settings


def _describe(makers_name: str, settings: dict[str, str]) -> str:
    """Return instrument and settings in words."""
    maker, model = [*(word.strip()[:_LONGEST_NAME] for word in makers_name.split(",")), "", ""][:2]
    coupling = settings.get("coupling", "").upper()
    scales = [("volts", "V"), ("time", "s")]
    figures = [
        print_value(value, unit) for name, unit in scales if (value := _parse(settings.get(name)))
    ]
    factor = _parse(settings.get("probe"))
    parts = [
        f"{coupling} coupled" if coupling in ("AC", "DC") else "",
        f"{' and '.join(figures)} per division" if figures else "",
        f"x{factor:g} probe" if factor else "",
    ]
    words = ", ".join(part for part in parts if part)
    return f"Read from {maker} {model}".strip() + (f": {words}" if words else "")


def _parse(answer: str | None) -> float | None:
    """Return a setting above zero, or None."""
    try:
        value = float(answer or "")
    except ValueError:
        return None
    return value if 0 < value < 1e9 else None
