"""Data sheets of invented parts as scanners and copiers leave them, with the right values of each.

The layouts are those of data books of the trade (common practice): a table of pins with or without
rules, with both sides of the package in a row, a table of pin voltages, a table of characteristics
with minimum, typical and maximum. Parts, makers and values are invented.

    python tests/benchmarks/scanned_sheets.py 3 300 /tmp/sheet.pdf
"""

from __future__ import annotations

import io
import random
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw, ImageFilter
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

LAYOUTS = ("grid", "lines", "bare", "both sides")
FONTS = (
    ("Helvetica", "Helvetica-Bold"),
    ("Times-Roman", "Times-Bold"),
    ("Courier", "Courier-Bold"),
)
PACKAGES = (("DIP", 16), ("DIP", 20), ("SDIP", 28), ("SDIP", 30), ("SDIP", 42), ("SDIP", 52))
LEFT, TOP, ROW = 52.0, 740.0, 13.0
POINTS_PER_INCH = 72.0

PINS = (
    ("VCC", "supply voltage 8 V"), ("GND", "ground"), ("HOUT", "horizontal drive output"),
    ("FBP", "flyback pulse input"), ("SCP", "sandcastle output"), ("XTAL", "crystal 4.43 MHz"),
    ("CVBS", "composite video input"), ("YIN", "luminance input"), ("CIN", "chrominance input"),
    ("ROUT", "red output"), ("GOUT", "green output"), ("BOUT", "blue output"),
    ("AFC1", "phase detector filter 1"), ("AFC2", "phase detector filter 2"),
    ("ABL", "beam current limiting input"), ("SDA", "I2C-bus data"), ("SCL", "I2C-bus clock"),
    ("VDRA", "vertical drive output A"), ("VDRB", "vertical drive output B"),
    ("VRMP", "vertical ramp capacitor"), ("IREF", "reference current input"),
    ("IFIN1", "IF input 1"), ("IFIN2", "IF input 2"), ("AGC", "tuner AGC output"),
    ("DECD", "decoupling of the digital supply"), ("DEEM", "sound de-emphasis"),
    ("AOUT", "audio output"), ("EXTA", "external audio input"), ("SIF", "sound IF input"),
    ("PLLF", "PLL loop filter"), ("VIFO", "video output of the IF"), ("BLKI", "black current"),
    ("RIN", "red input for insertion"), ("GIN", "green input for insertion"),
    ("BIN", "blue input for insertion"), ("FBL", "fast blanking input"), ("BGAP", "band gap"),
    ("EHTO", "overvoltage protection input"), ("VCC2", "second supply voltage 8 V"),
    ("GND2", "second ground"), ("TEST", "test pin, leave open"), ("EWD", "east-west drive output"),
    ("SW1", "switch output 1"), ("SW2", "switch output 2"), ("HOSC", "horizontal oscillator"),
    ("COMB", "comb filter switch"), ("SVOU", "scan velocity output"), ("DET", "detector capacitor"),
    ("B-Y", "colour difference input B-Y"), ("R-Y", "colour difference input R-Y"),
    ("LUMO", "luminance output"), ("CLMP", "clamping capacitor"), ("STBY", "standby switch input"),
    ("KILL", "colour killer time constant"),
)  # fmt: skip
CHARACTERISTICS = (
    ("Supply voltage", "V", 8.0, 0.1), ("Supply current", "mA", 120.0, 0.2),
    ("Input impedance", "kΩ", 50.0, 0.3), ("Output resistance", "Ω", 70.0, 0.4),
    ("Free-running frequency", "kHz", 15.625, 0.02), ("Holding range", "Hz", 900.0, 0.2),
    ("Burst key level", "V", 8.0, 0.1), ("Blanking level", "V", 2.5, 0.15),
    ("Flyback input threshold", "V", 0.7, 0.3), ("Colour killer threshold", "dB", -38.0, 0.2),
    ("Total power dissipation", "W", 1.1, 0.3), ("Vertical sawtooth", "Vpp", 2.4, 0.1),
    ("Video output amplitude", "Vpp", 2.0, 0.15), ("AGC control range", "dB", 66.0, 0.1),
    ("Tuner output current", "mA", 2.0, 0.5), ("Delay of the luminance", "ns", 320.0, 0.1),
    ("Operating temperature", "°C", 25.0, 1.0), ("Crystal series resistance", "Ω", 60.0, 0.3),
)  # fmt: skip
_PROSE = (
    "Single chip processor for receivers with one crystal. All figures are for information only.",
    "The device contains demodulation, deflection and control by bus. Made by Invented Devices.",
)

Limits = tuple[str, str, str]


@dataclass
class Sheet:
    """A made data sheet: its pages as PDF with text, and the values printed on them."""

    part: str
    package: tuple[str, int]
    layout: str
    pdf: bytes = b""
    symbols: dict[int, str] = field(default_factory=dict)
    functions: dict[int, str] = field(default_factory=dict)
    dc: dict[int, Limits] = field(default_factory=dict)
    """Minimum, typical and maximum of the DC voltage of a pin; empty where none is printed."""
    parameters: dict[str, tuple[Limits, str]] = field(default_factory=dict)
    """Limits and unit of each characteristic by name."""


def make_sheet(seed: int) -> Sheet:
    """Return an invented data sheet of three pages, the same for the same seed."""
    chance = random.Random(seed)
    package = chance.choice(PACKAGES)
    part = f"ZZX{chance.randint(1000, 9999)}"
    sheet = Sheet(part, package, chance.choice(LAYOUTS))
    named = chance.sample(PINS, package[1])
    sheet.symbols = {number: symbol for number, (symbol, _) in enumerate(named, start=1)}
    sheet.functions = {number: words for number, (_, words) in enumerate(named, start=1)}
    for number in sheet.symbols:
        sheet.dc[number] = _draw_voltage(chance)
    for name, unit, typical, spread in chance.sample(CHARACTERISTICS, 12):
        sheet.parameters[name] = (_draw_limits(chance, typical, spread), unit)
    paper = io.BytesIO()
    canvas = Canvas(paper, pagesize=A4)
    fonts = chance.choice(FONTS)
    size = chance.choice((7.5, 8.5, 9.0))
    for draw in (_draw_pins, _draw_voltages, _draw_characteristics):
        draw(_Page(canvas, fonts, size, sheet.layout), sheet)
        canvas.showPage()
    canvas.save()
    sheet.pdf = paper.getvalue()
    return sheet


def _draw_voltage(chance: random.Random) -> Limits:
    typical = round(chance.uniform(0.1, 8.0), 1)
    typical_text = chance.choice((f"{typical:.1f}", f"{typical:.2f}", f"{round(typical) or 1}"))
    if chance.random() < 0.5:
        return "", typical_text, ""
    middle = float(typical_text)
    return f"{0.9 * middle:.2f}", typical_text, f"{1.1 * middle:.2f}"


def _draw_limits(chance: random.Random, typical: float, spread: float) -> Limits:
    digits = 0 if abs(typical) >= 30 else 1 if abs(typical) >= 5 else 2
    middle = typical * chance.uniform(0.9, 1.1)
    low, high = sorted((middle * (1 - spread), middle * (1 + spread)))
    texts = [f"{value:.{digits}f}" for value in (low, middle, high)]
    sort = chance.choice(("all", "all", "typical", "most", "least", "ends"))
    shown = {"all": "111", "typical": "010", "most": "001", "least": "100", "ends": "101"}[sort]
    low_text, typical_text, high_text = (
        text if flag == "1" else "" for text, flag in zip(texts, shown, strict=True)
    )
    return low_text, typical_text, high_text


class _Page:
    """Draws tables of one style on a page from the top."""

    def __init__(self, canvas: Canvas, fonts: tuple[str, str], size: float, layout: str) -> None:
        self._canvas, self._fonts, self._size, self._layout = canvas, fonts, size, layout
        self._y = TOP

    def write_title(self, sheet: Sheet, title: str) -> None:
        """Write part and maker, two lines of prose and the title of the table."""
        self._canvas.setFont(self._fonts[1], 15)
        self._canvas.drawString(LEFT, self._y + 40, sheet.part)
        self._canvas.setFont(self._fonts[0], self._size)
        self._canvas.drawString(LEFT + 360, self._y + 40, "Invented Devices")
        for number, line in enumerate(_PROSE):
            self._canvas.drawString(LEFT, self._y + 22 - 11 * number, line)
        self._canvas.setFont(self._fonts[1], self._size + 1.5)
        self._canvas.drawString(LEFT, self._y - 14, title)
        self._y -= 36

    def draw_table(
        self, head: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float]
    ) -> None:
        """Draw a table with its heading, ruled as the layout of the sheet says."""
        top, edges = self._y + 0.72 * ROW, [LEFT + sum(widths[:n]) for n in range(len(widths) + 1)]
        for number, row in enumerate((head, *rows)):
            self._canvas.setFont(self._fonts[number == 0], self._size)
            for text, left, right in zip(row, edges, edges[1:], strict=False):
                if _is_figure(text):
                    self._canvas.drawCentredString((left + right) / 2, self._y, text)
                else:
                    self._canvas.drawString(left + 4, self._y, text)
            self._y -= ROW
        bottom = self._y + 0.72 * ROW
        self._canvas.setLineWidth(0.6)
        if self._layout == "grid":
            for number in range(len(rows) + 2):
                self._canvas.line(edges[0], top - number * ROW, edges[-1], top - number * ROW)
            for edge in edges:
                self._canvas.line(edge, top, edge, bottom)
        elif self._layout == "lines":
            for height in (top, top - ROW, bottom):
                self._canvas.line(edges[0], height, edges[-1], height)


def _is_figure(text: str) -> bool:
    return text[:1] in "0123456789-" or text in ("Pin", "Min.", "Typ.", "Max.", "Unit")


def _draw_pins(page: _Page, sheet: Sheet) -> None:
    page.write_title(sheet, "PIN DESCRIPTION")
    rows = [[str(n), sheet.symbols[n], sheet.functions[n]] for n in sheet.symbols]
    head, widths = ["Pin", "Symbol", "Function"], [34.0, 62.0, 200.0]
    if sheet.layout == "both sides":
        half = len(rows) // 2
        rows = [a + b for a, b in zip(rows[:half], reversed(rows[half:]), strict=True)]
        head, widths = head * 2, [30.0, 48.0, 168.0] * 2
    page.draw_table(head, rows, widths)


def _draw_voltages(page: _Page, sheet: Sheet) -> None:
    page.write_title(sheet, "PIN VOLTAGES")
    head = ["Pin", "Symbol", "DC min (V)", "DC typ (V)", "DC max (V)"]
    rows = [[str(n), sheet.symbols[n], *limits] for n, limits in sheet.dc.items()]
    page.draw_table(head, rows, [34.0, 70.0, 80.0, 80.0, 80.0])


def _draw_characteristics(page: _Page, sheet: Sheet) -> None:
    page.write_title(sheet, "ELECTRICAL CHARACTERISTICS")
    head = ["Parameter", "Min.", "Typ.", "Max.", "Unit"]
    rows = [[name, *limits, unit] for name, (limits, unit) in sheet.parameters.items()]
    # The fonts of every PDF reader have no capital omega.
    rows = [[cell.replace("Ω", "ohm") for cell in row] for row in rows]
    page.draw_table(head, rows, [190.0, 56.0, 56.0, 56.0, 44.0])


def scan_sheet(sheet: Sheet, dpi: int, seed: int) -> list[Image.Image]:
    """Return the pages as a scanner sees them: turned, grey, noisy, stained, through JPEG."""
    chance = random.Random(f"{seed}-{dpi}")
    document = pypdfium2.PdfDocument(sheet.pdf)
    pages = [page.render(scale=dpi / POINTS_PER_INCH).to_pil().convert("L") for page in document]
    document.close()
    is_copy = chance.random() < 0.25  # black and white only, as copiers and fax machines leave it
    return [_age_page(page, dpi, chance, is_copy) for page in pages]


def _age_page(page: Image.Image, dpi: int, chance: random.Random, is_copy: bool) -> Image.Image:
    turned = page.rotate(
        chance.uniform(-2.5, 2.5), Image.Resampling.BICUBIC, expand=False, fillcolor=255
    )
    blurred = turned.filter(ImageFilter.GaussianBlur(chance.uniform(0.3, 0.9) * dpi / 200))
    stained = _stain(blurred, dpi, chance)
    values = np.asarray(stained, dtype=np.float32)
    noise = np.random.default_rng(chance.getrandbits(32)).normal(
        0, chance.uniform(5, 22), values.shape
    )
    shadow = np.linspace(0, chance.uniform(0, 60), values.shape[1])[None, :]
    contrast = chance.uniform(0.7, 1.0)
    aged = 245 - contrast * (255 - values) - shadow * (np.arange(values.shape[1]) > 0) / 2 + noise
    if is_copy:
        aged = np.where(aged > chance.uniform(125, 165), 255, 0)
    image = Image.fromarray(np.clip(aged, 0, 255).astype(np.uint8))
    return image if is_copy else _through_jpeg(image, chance.randint(35, 80))


def _stain(page: Image.Image, dpi: int, chance: random.Random) -> Image.Image:
    """Return the page with translucent blots, rings and specks."""
    layer = Image.new("L", page.size, 0)
    draw = ImageDraw.Draw(layer)
    for _ in range(chance.randint(2, 6)):
        x, y = chance.uniform(0, page.width), chance.uniform(0, page.height)
        radius = chance.uniform(0.15, 0.8) * dpi
        box = (x - radius, y - 0.8 * radius, x + radius, y + 0.8 * radius)
        if chance.random() < 0.5:
            draw.ellipse(box, fill=chance.randint(15, 60))
        else:
            draw.ellipse(box, outline=chance.randint(30, 80), width=max(2, dpi // 40))
    layer = layer.filter(ImageFilter.GaussianBlur(dpi / 60))
    draw = ImageDraw.Draw(layer)
    for _ in range(chance.randint(30, 150)):
        x, y = chance.uniform(0, page.width), chance.uniform(0, page.height)
        radius = chance.uniform(0.3, 1.2) * dpi / 200
        draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=chance.randint(80, 220))
    dark = np.asarray(page, dtype=np.int16) - np.asarray(layer, dtype=np.int16)
    return Image.fromarray(np.clip(dark, 0, 255).astype(np.uint8))


def _through_jpeg(image: Image.Image, quality: int) -> Image.Image:
    packed = io.BytesIO()
    image.save(packed, "JPEG", quality=quality)
    return Image.open(io.BytesIO(packed.getvalue())).convert("L")


def pack_pages(pages: Sequence[Image.Image], dpi: int) -> bytes:
    """Return page images as a PDF without a text layer."""
    packed = io.BytesIO()
    pages[0].save(packed, "PDF", save_all=True, append_images=pages[1:], resolution=dpi, quality=85)
    return packed.getvalue()


if __name__ == "__main__":
    given_seed, given_dpi = int(sys.argv[1]), int(sys.argv[2])
    scans = scan_sheet(make_sheet(given_seed), given_dpi, given_seed)
    Path(sys.argv[3]).write_bytes(pack_pages(scans, given_dpi))
