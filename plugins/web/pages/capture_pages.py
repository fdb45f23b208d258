"""A capture over a pin's expected trace: an upload that is judged, drawn and forgotten."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import urlencode

from datasette.app import Datasette
from datasette.utils.asgi import Request, Response

from ....loaders import Folio, UnknownPart
from ....loaders.captures.capture import CaptureError, UnknownChannel
from ....loaders.captures.capture_file import ENDINGS
from ....loaders.captures.limited_capture import MOST_BYTES, read_capture_limited
from ....schema import Chip, Pin, print_value
from ....schema.chips.lookup import UnknownCondition, UnknownPin, find_pin
from ....schema.quantities import QuantityError, parse_quantity
from ....schema.reading import Reading
from ...cards.caution_strip import summarise_cautions
from ...cards.cautions import list_cautions
from ...cards.expected_figures import ExpectedFigure
from ...readings.capture_check import CaptureCheck, check_capture
from ...readings.checks import NoExpectation
from ...readings.pictures.capture_pictures import CapturePictures
from ...readings.video.judged_figure import JudgedFigure
from ...search.marking_lookup import find_chip
from ..own_instruments import choose_own_instruments
from ..page_context import Addresses, ask, from_address, render_page, respond_nothing_here
from ..upload import Upload, UploadRefused, read_upload

_FIELDS: Final = {"dc": "V", "vpp": "V", "frequency": "Hz"}
_NAMES: Final = {"dc": "dc", "vpp": "vpp", "frequency": "freq"}


@dataclass(frozen=True)
class DrawnCapture:
    """The pictures as SVG, computed where they do not block other visitors."""

    overlay: str | None = None
    difference: str | None = None
    vectors: str | None = None
    spectrum: str | None = None


@dataclass(frozen=True)
class JudgedCapture:
    """A capture with its verdict and pictures; ``refused`` says why there is none."""

    chip: Chip
    pin: Pin
    pictures: CapturePictures | None = None
    drawn: DrawnCapture = DrawnCapture()
    refused: str = ""
    file_name: str = ""
    full_scale: str = ""
    """Volts of full scale of a sound file, as typed."""

    @property
    def check(self) -> CaptureCheck | None:
        """The verdict."""
        return self.pictures.check if self.pictures is not None else None


async def capture(datasette: Datasette, request: Request) -> Response:
    """Return the form for a capture; to a POST, the capture over the expected picture."""
    part = from_address(request.url_vars["part"])
    pin_name = from_address(request.url_vars["pin"])
    condition = request.args.get("condition")
    upload, refusal = None, ""
    if request.method == "POST":
        try:
            upload = await read_upload(request, "capture", MOST_BYTES)
        except UploadRefused as error:
            refusal = str(error)

    def judge_in_folio(folio: Folio) -> JudgedCapture:
        chip = find_chip(folio, part)
        pin = find_pin(chip, pin_name)
        # Without a file the page is the form, with the refusal of the upload if there was one.
        if upload is None:
            return JudgedCapture(chip, pin, refused=refusal)
        return _judge(chip, pin, upload, request, condition)

    try:
        judged = await ask(datasette, judge_in_folio)
    except (UnknownPart, UnknownPin, UnknownCondition) as error:
        return await respond_nothing_here(datasette, request, f"{error}.", part)
    return await render_page(
        datasette,
        request,
        "capture.html",
        status=422 if judged.refused else 200,
        section="Look up",
        condition=condition,
        onward=_list_ways_on(datasette, judged, condition),
        endings=ENDINGS,
        megabytes=MOST_BYTES // 1_000_000,
        **describe_capture(judged),
    )


def describe_capture(judged: JudgedCapture) -> dict[str, Any]:
    """Return the values that the template of a capture's page needs, served or saved."""
    video = judged.check.video if judged.check is not None else None
    return {
        "judged": judged,
        "chip": judged.chip,
        "pin": judged.pin,
        "rows": _list_rows(judged.check) if judged.check is not None else [],
        "video": video,
        "as_read": _list_as_read(judged.check),
        "strip": summarise_cautions(judged.chip, f"pin {judged.pin.number}"),
        "cautions": list_cautions(judged.chip, judged.pin),
    }


def _judge(
    chip: Chip, pin: Pin, upload: Upload, request: Request, condition: str | None
) -> JudgedCapture:
    """Return the verdict on a capture with its pictures, or the reason why there is none.

    Raises UnknownCondition.
    """
    try:
        samples = read_capture_limited(
            upload.data,
            upload.name,
            _read_field(upload, "interval", "s"),
            _read_field(upload, "full_scale", "V"),
        )
        channel_name = upload.fields.get("channel", "").strip()
        channel = samples.find_channel(channel_name) if channel_name else 0
        instruments = choose_own_instruments(request)
        check = check_capture(chip, pin, samples, Reading(), instruments, condition, channel)
    except (CaptureError, UnknownChannel, NoExpectation, QuantityError) as error:
        return JudgedCapture(chip, pin, refused=str(error))
    title = f"{chip.part} pin {pin.number} {pin.symbol}, captured over what should be there"
    pictures = CapturePictures(check, title)
    drawn = draw_capture(pictures)
    full_scale = upload.fields.get("full_scale", "").strip()
    return JudgedCapture(chip, pin, pictures, drawn, file_name=upload.name, full_scale=full_scale)


def draw_capture(pictures: CapturePictures) -> DrawnCapture:
    """Return the pictures of a capture as SVG."""
    return DrawnCapture(
        pictures.draw_overlay(),
        pictures.draw_difference(),
        pictures.draw_vectors(),
        pictures.draw_spectrum(),
    )


def _read_field(upload: Upload, name: str, unit: str) -> float | None:
    """Return a quantity of the form; None where its field is blank. Raises QuantityError."""
    text = upload.fields.get(name, "").strip()
    return parse_quantity(text, unit).nominal if text else None


def _list_rows(check: CaptureCheck) -> list[dict[str, Any]]:
    """Return all figures that were compared with limits, the wrong ones first."""
    rows = [
        {
            "name": ExpectedFigure(result.expected).name,
            "read": result.reading_words,
            "limits": result.expected.short_span,
            "verdict": result.verdict,
        }
        for result in check.judged.results
    ]
    figures = check.video.figures if check.video is not None else ()
    rows += [
        {
            "name": figure.name,
            "read": figure.words,
            "limits": figure.limits_words,
            "verdict": figure.verdict,
        }
        for figure in figures
        if figure.verdict  # empty for a figure without limits
    ]
    # Levels of the shape where nothing better was measured.
    levels = check.likeness.levels if check.likeness is not None and not figures else ()
    rows += [
        {
            "name": f"Level, {level.name}",
            "read": print_value(level.found_v, "V"),
            "limits": f"{print_value(level.low_v, 'V')} to {print_value(level.high_v, 'V')}",
            "verdict": _judge_level(level.found_v, level.low_v, level.high_v),
        }
        for level in levels
    ]
    return sorted(rows, key=lambda row: row["verdict"] == "as expected")


def _list_as_read(check: CaptureCheck | None) -> list[JudgedFigure]:
    """Return the figures without limits."""
    figures = check.video.figures if check is not None and check.video is not None else ()
    return [one for one in figures if not one.verdict]


def _judge_level(found_v: float, low_v: float, high_v: float) -> str:
    if low_v <= found_v <= high_v:
        return "as expected"
    return "too low" if found_v < low_v else "too high"


def _list_ways_on(
    datasette: Datasette, judged: JudgedCapture, condition: str | None
) -> dict[str, str]:
    """Return the two ways on, each with the figures that were measured on the capture."""
    if judged.check is None:
        return {}
    addresses, part = Addresses(datasette), judged.chip.part
    figures = [
        (_NAMES[r.expected.quantity], print_value(r.value, _FIELDS[r.expected.quantity], 5))
        for r in judged.check.judged.results
        if r.expected.quantity in _FIELDS
    ]
    where = [("condition", condition)] if condition else []
    hunt = urlencode([*where, ("at", str(judged.pin.number)), *figures])
    is_attachable = judged.file_name.lower().endswith(ENDINGS)
    attached = [("attach", judged.file_name)] if is_attachable else []
    if is_attachable and judged.full_scale:
        attached.append(("full_scale", judged.full_scale))
    state = ("condition", judged.check.judged.condition)
    place = [("chip", part), ("at", f"pin {judged.pin.number}"), state]
    note = urlencode([*place, *figures, *attached])
    return {
        "hunt": f"{addresses.fault_finding(part)}?{hunt}",
        "note": f"{addresses.new_note()}?{note}",
    }


VIEWS: Final = (capture,)
