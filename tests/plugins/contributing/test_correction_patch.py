"""A correction note becomes a patch of the chip file; GNU ``patch`` and lint are the judges."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip, read_chip
from pinfolio.plugins.contributing.correction import (
    CannotPropose,
    find_correction,
    list_open_corrections,
)
from pinfolio.plugins.contributing.correction_patch import propose_patch
from pinfolio.plugins.contributing.lint import lint_file
from pinfolio.schema.note import Note
from pinfolio.schema.rules import EXAMPLE_CHIP

TQZ5752 = next(path for path in chip_files() if path.stem == "tqz5752")


def make_note(**fields: Any) -> Note:
    """Nine sets of one shop read pin 49 of the jungle higher than its chip file says."""
    return Note.model_validate(
        {
            "id": "a" * 16, "kind": "correction", "shop": "our-shop", "author": "anna",
            "date": "2026-01-19", "sets": 9, "chassis": "Morvane P14", "chip": "TQZ5752",
            "at": "pin 49", "condition": "colour bars", "readings": {"dc": "4.42 V ± 5 %"},
            "text": "The sheet is wrong.", **fields,
        }
    )  # fmt: skip


def apply_patch(path: Path, diff: str) -> None:
    subprocess.run(["patch", "--quiet", str(path)], input=diff.encode(), check=True)


@pytest.mark.skipif(shutil.which("patch") is None, reason="patch is not installed")
class TestPatch:
    @pytest.fixture
    def file(self, tmp_path: Path) -> Path:
        return Path(shutil.copy(TQZ5752, tmp_path))

    def test_the_value_and_its_source_are_put_in_and_all_else_stays(self, file: Path) -> None:
        before = file.read_text(encoding="utf-8").splitlines()
        proposed = propose_patch(file.read_bytes(), str(file), make_note())
        assert file.read_text(encoding="utf-8").splitlines() == before  # until it is applied
        apply_patch(file, proposed.diff)
        after = file.read_text(encoding="utf-8").splitlines()
        assert file.read_text(encoding="utf-8") == proposed.text
        assert [line.strip() for line in after if line not in before] == [
            "- {id: our-shop, kind: measured, title: Notes of the shop our-shop, date: 2026-01-19}",
            "dc: 4.42 V ± 5 %",
            # the level of a control voltage is its DC voltage
            "waveform: {kind: control voltage, level: 4.42 V, low: 2.4 V, high: 5.2 V}",
            'source: {id: our-shop, sets: 9, note: "DC and level by note aaaaaaaaaaaaaaaa'
            ' on Morvane P14; the rest: sheet, page 13"}',
        ]
        assert len(after) == len(before) + 1

    def test_lint_accepts_it_and_then_nothing_is_open(self, file: Path) -> None:
        earlier = len(lint_file(file).notes)
        apply_patch(file, propose_patch(file.read_bytes(), str(file), make_note()).diff)
        assert len(lint_file(file).notes) == earlier
        assert list_open_corrections(load_chip(TQZ5752), [make_note()])
        assert list_open_corrections(load_chip(file), [make_note()]) == ()
        with pytest.raises(CannotPropose, match="already says"):
            propose_patch(file.read_bytes(), str(file), make_note())

    def test_every_demo_pin_takes_a_dc_or_is_refused_by_a_rule(self, tmp_path: Path) -> None:
        """Whichever way a chip file is laid out, only the corrected values change."""
        taken = 0
        for path in chip_files():
            chip = load_chip(path)
            pin = next(
                pin for pin in chip.pins for e in pin.expectations if e.dc and not e.waveform
            )
            old = next(e for e in pin.expectations if e.dc and not e.waveform)
            note = make_note(
                chip=chip.part, at=f"pin {pin.number}", condition=old.condition,
                readings={"dc": "1.23 V"},
            )  # fmt: skip
            try:
                proposed = propose_patch(path.read_bytes(), str(path), note)
            except CannotPropose as refused:
                assert "would break a rule" in str(refused)  # noqa: PT017
                continue
            taken += 1
            file = Path(shutil.copy(path, tmp_path))
            apply_patch(file, proposed.diff)
            new = next(
                e for e in load_chip(file).pins[chip.pins.index(pin)].expectations
                if e.condition == old.condition
            )  # fmt: skip
            assert new.dc is not None
            assert (new.dc.nominal, new.source.id, new.source.sets) == (1.23, "our-shop", 9)
        assert taken >= 10

    @pytest.mark.parametrize("ending", ["\r\n", "no last line end", "byte order mark"])
    def test_the_form_of_the_file_is_kept(self, tmp_path: Path, ending: str) -> None:
        data = TQZ5752.read_bytes()
        if ending == "\r\n":
            data = data.replace(b"\n", b"\r\n")
        data = data.rstrip() if ending.startswith("no") else data
        data = b"\xef\xbb\xbf" + data if ending.startswith("byte") else data
        file = tmp_path / "chip.yaml"
        file.write_bytes(data)
        proposed = propose_patch(data, str(file), make_note())
        subprocess.run(
            ["patch", "--quiet", "--binary", str(file)], input=proposed.diff.encode(), check=True
        )
        assert file.read_bytes() == proposed.text.encode()
        assert file.read_bytes()[:3] == data[:3]
        assert file.read_bytes()[-2:] == data[-2:]


class TestFields:
    def test_vpp_and_frequency_fit_where_the_waveform_states_them(self) -> None:
        chip = load_chip(TQZ5752)
        pin, stated = next(
            (pin, e) for pin in chip.pins for e in pin.expectations if hasattr(e.waveform, "vpp")
        )
        note = make_note(
            at=f"pin {pin.number}", condition=stated.condition, readings={"vpp": "1.7 Vpp"}
        )
        (change,) = find_correction(chip, note).changes
        assert change.path[-2:] == ("waveform", "vpp")
        assert change.read.nominal == 1.7

    def test_a_second_note_of_the_day_uses_the_same_source(self) -> None:
        once = propose_patch(TQZ5752.read_bytes(), "f", make_note()).text
        second = make_note(condition="no signal", readings={"dc": "5.1 V"})
        chip = read_chip(propose_patch(once.encode(), "f", second).text.encode(), "f")
        assert [source.id for source in chip.sources].count("our-shop") == 1
        third = make_note(condition="no signal", readings={"dc": "5 V"}, date="2026-02-01")
        chip = read_chip(propose_patch(once.encode(), "f", third).text.encode(), "f")
        assert "our-shop-2" in [source.id for source in chip.sources]

    @pytest.mark.parametrize(
        ("fields", "sentence"),
        [
            ({"kind": "remark"}, "is a remark; name a note of kind correction"),
            ({"at": "xtal"}, "only a correction of a pin can be proposed"),
            ({"at": "pin 99"}, "which TQZ5752 no longer has as it was noted"),
            ({"condition": "standby"}, "has no expectation in 'standby'"),
            ({"readings": {"resistance": "12 kΩ"}}, "has no figure that fits a field"),
            ({"readings": {"seen": ["hum"]}}, "has no figure that fits a field"),
            ({"readings": {"dc": "3.6 V ± 12 %"}}, "already says"),
            ({"readings": {"dc": "40 V"}}, "would break a rule of the chip file"),
        ],
    )
    def test_a_refusal_is_one_clear_sentence(self, fields: dict[str, Any], sentence: str) -> None:
        with pytest.raises(CannotPropose, match=sentence) as refused:
            propose_patch(TQZ5752.read_bytes(), "tqz5752.yaml", make_note(**fields))
        assert "\n" not in str(refused.value)

    def test_a_note_follows_its_pin_or_is_refused(self) -> None:
        chip = load_chip(TQZ5752)
        moved = {"symbol": "ACC", "function": "ACC store", "chip_file": "0" * 64}
        assert find_correction(chip, make_note(at="pin 3", anchor=moved)).note.at == "pin 49"
        gone = {**moved, "symbol": "GONE", "function": "Gone."}
        with pytest.raises(CannotPropose, match="no longer has"):
            find_correction(chip, make_note(anchor=gone))

    def test_words_of_a_note_cannot_become_yaml(self) -> None:
        hostile = make_note(chassis='x", sets: 99}\n# "')
        proposed = propose_patch(TQZ5752.read_bytes(), "f", hostile)
        chip = read_chip(proposed.text.encode(), "f")
        assert proposed.correction.changes
        (reference,) = {e.source for p in chip.pins for e in p.expectations if e.source.sets == 9}
        assert 'x", sets: 99}' in (reference.note or "")


def test_notes_of_other_chips_are_not_open() -> None:
    chip = read_chip(EXAMPLE_CHIP.encode(), "example")
    assert list_open_corrections(chip, [make_note()]) == ()
