"""``pinfolio check``, for one pin and for a file of readings; and the same on the page."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result
from datasette.app import Datasette
from pinfolio.loaders.shop.shop_folder import init_shop
from pinfolio.plugins.readings.reading_list import ReadingsError, read_table
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin

Run = Callable[..., Result]


def test_a_right_reading_exits_with_0(run: Run) -> None:
    told = run("check", "TQZ5752", "13", "--dc", "3.4 V")
    assert told.exit_code == 0
    assert "TQZ5752 pin 13 SYNC IN: as expected" in told.stdout


def test_a_wrong_one_exits_with_1_and_says_where_to_look(run: Run) -> None:
    told = run("check", "TQZ5752", "13", "--dc", "3.4 V", "--vpp", "0.4 Vpp")
    assert told.exit_code == 1
    assert "too low" in told.stdout
    assert "Look first (common practice):" in told.stdout


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("TQZ5752", "13", "--dc", "3.1 Hz"), 2, "expected a voltage in V"),
        (("TQZ5752", "13"), 2, "There is no reading"),
        (("TQZ5752",), 2, "Give a PIN and its readings"),
        (("TQZ5752", "99", "--dc", "1 V"), 1, "no pin '99'"),
        (("TQZ5752", "13", "--dc", "1 V", "--condition", "dark"), 1, "no condition 'dark'"),
        (("TQZ5752", "13", "--dc", "1 V", "--meter", "wet finger"), 1, "no meter 'wet finger'"),
    ],
)
def test_what_cannot_be_judged(
    run: Run, arguments: tuple[str, ...], status: int, said: str
) -> None:
    told = run("check", *arguments)
    assert (told.exit_code, said in told.stderr) == (status, True), told.stderr


def write_bars(folder: Path, chip: Chip, pin: str) -> Path:
    """Write four lines of a pin's colour bars as an oscilloscope does."""
    expectation = find_pin(chip, pin).expectation("colour bars")
    assert expectation is not None
    t_s = np.arange(0, 256e-6, 25e-9)
    rows = (f"{t:.9f},{v:.4f}" for t, v in zip(t_s, expectation.volts(t_s), strict=True))
    path = folder / "bars.csv"
    path.write_text("\n".join(["time,volts", *rows]), encoding="utf-8")
    return path


def test_a_capture_is_drawn_into_files(run: Run, tmp_path: Path, jungle: Chip) -> None:
    path = write_bars(tmp_path, jungle, "6")
    names = {"--svg": "difference-band", "--vectors": "vector-target", "--spectrum": "subcarrier"}
    files = {option: tmp_path / f"{option[2:]}.svg" for option in names}
    options = (word for option, file in files.items() for word in (option, str(file)))
    told = run("check", "TQZ5752", "6", "--capture", str(path), *options)
    assert told.exit_code == 0, told.stderr
    assert "Colour vectors: Right direction, right length" in told.stdout
    for option, shown in names.items():
        assert shown in files[option].read_text(encoding="utf-8")


def test_vectors_of_a_signal_without_colour_are_refused(
    run: Run, tmp_path: Path, jungle: Chip
) -> None:
    path = write_bars(tmp_path, jungle, "22")
    out = tmp_path / "colours.svg"
    told = run("check", "TQZ5752", "22", "--capture", str(path), "--vectors", str(out))
    assert told.exit_code == 1
    assert "no colour bars to draw vectors of" in told.stderr
    assert not out.exists()


ON_PAPER = """\
# bench, Tuesday
18: 6.8 V
13: 2.9 V, 0.85 Vpp
AFC: 3.06 V
21: 3.3V
22: 4.7 kΩ, unstable
"""


def test_a_list_as_on_paper(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "bench.txt"
    path.write_text(ON_PAPER, encoding="utf-8")
    told = json.loads(run("check", "TQZ5752", "--readings", path, "--json").stdout)
    assert [one["pin"] for one in told["pins"]] == [18, 13, 16, 21, 22]
    assert "mend the supply first" in told["together"]


def test_a_symbol_with_a_space_is_a_place_on_paper_too(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "bench.txt"
    path.write_text("SYNC IN 3.4\n")
    told = run("check", "TQZ5752", "--readings", str(path), "--json")
    (judged,) = json.loads(told.stdout)["pins"]
    assert (judged["pin"], judged["symbol"], judged["verdict"]) == (13, "SYNC IN", "as expected")


def test_a_list_ends_with_a_table_and_the_way_on(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "bench.txt"
    path.write_text(f"{ON_PAPER}C712: leaky\n16 skip\n", encoding="utf-8")
    told = run("check", "TQZ5752", "--readings", path)
    table = told.stdout[told.stdout.index(" At ") :]
    assert [line.split("  ")[0].strip() for line in table.splitlines() if line[:2] == " p"] == [
        "pin 18 VCC2", "pin 13 SYNC IN", "pin 16 AFC", "pin 21 AFC2", "pin 22 SC OUT", "pin 16 AFC"
    ]  # fmt: skip
    assert "a part out of circuit: for the hunt" in " ".join(table.split())
    assert f"Find the fault from here: pinfolio faultfind TQZ5752 --readings {path}" in table


def test_a_node_is_a_place_too(run: Run) -> None:
    told = run("check", "KYE4728", "crystal-node", "--freq", "jumping")
    assert told.stdout.startswith("KYE4728 between the crystal and its series capacitor: unstable")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "bench:1:1: no readings"),
        ("pin,volts\n13,3.1 V\n", "the column 'volts': expected columns among pin, dc"),
        ("pin,dc\n13,green\n", "bench:2:1: dc 'green': expected a voltage in V"),
        ("pin,dc\n13,3.1 V,4\n", "bench:2:1: 3 cells: expected 2, as in the header"),
        ("13: 3.1 X\n", "bench:1:1: '13: 3.1 X': expected a place and figures such as"),
        ("13:\n", "such as '17: 3.1 V, 0.4 Vpp'"),
    ],
)
def test_a_bad_line_is_named(text: str, told: str) -> None:
    with pytest.raises(ReadingsError) as refused:
        read_table(text.encode(), "bench")
    assert told in str(refused.value)


async def test_json_of_page_and_command_are_the_same(run: Run, site: Datasette) -> None:
    printed = run("check", "TQZ5752", "13", "--dc", "3.1 V", "--vpp", "0.4 Vpp", "--json").stdout
    served = await site.client.get("/chip/TQZ5752/13/check.json?dc=3.1+V&vpp=0.4+Vpp")
    assert served.json() == json.loads(printed)


async def test_the_pin_card_judges_what_its_address_says(site: Datasette) -> None:
    html = (await site.client.get("/chip/TQZ5752/13?dc=3.4+V&vpp=0.4+Vpp")).text
    assert "Too low</h2>" in html
    assert 'value="0.4 Vpp"' in html
    html = (await site.client.get("/chip/TQZ5752/13?dc=3.4+Hz")).text
    assert "expected a voltage in V" in html


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/chip/TQZ5752/13/check.json?dc=3.1+Hz", 400),
        ("/chip/TQZ5752/99/check.json?dc=3.1+V", 404),
        ("/chip/TQZ5752/13/check.json?dc=3.1+V&probe=x7", 404),
    ],
)
async def test_json_says_what_is_wrong(site: Datasette, address: str, status: int) -> None:
    answer = await site.client.get(address)
    assert answer.status_code == status
    assert answer.json()["error"]


def test_the_shops_usual_instruments_are_taken_where_none_is_named(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    init_shop(tmp_path / "shop", "the-shop", meter="pointer meter")
    monkeypatch.setenv("PINFOLIO_SHOP", str(tmp_path / "shop"))
    told = run("check", "TQZ5752", "13", "--dc", "3.4 V")
    assert "read with pointer meter, x10 probe" in told.stdout
    told = run("check", "TQZ5752", "13", "--dc", "3.4 V", "--meter", "small digital meter")
    assert "read with small digital meter" in told.stdout
