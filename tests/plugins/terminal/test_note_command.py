"""``pinfolio note``: written by flags, by answering, from a page's address; changed and read."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.loaders.shop.note_files import load_own_notes
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.plugins.notes.note_form import BadForm
from pinfolio.plugins.notes.revisions import collect_notes
from pinfolio.plugins.terminal.cli import main
from pinfolio.plugins.terminal.note_input import follow_place
from pinfolio.schema.note import Note

Run = Callable[..., Result]
PAGE = "http://127.0.0.1:8001/chip/TQZ5752/13"
GOOD = f"{PAGE}?dc=3.07V&vpp=0.98Vpp&condition=colour+bars&probe=x1+probe"
KNOWN_GOOD = "known-good reading"
FAULT = "fault and remedy"


@pytest.fixture
def answering(
    shop: Shop, demo_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Result]:
    """``pinfolio note`` on a terminal, where these lines are typed."""
    monkeypatch.setenv("PINFOLIO_FOLIO", str(demo_path))
    for module in ("note_input", "shop.note"):
        monkeypatch.setattr(f"pinfolio.plugins.terminal.{module}.on_terminal", lambda: True)
    return lambda *arguments, lines: CliRunner().invoke(
        main, ["note", *arguments], input="\n".join(lines) + "\n"
    )


def read_fields(note: Note) -> dict[str, Any]:
    """The fields of a note, apart from random ones and today's date."""
    document = note.model_dump(mode="json", exclude_defaults=True)
    return {key: value for key, value in document.items() if key not in ("id", "date", "anchor")}


class TestPlausibility:
    ABOVE = ("add", "TQZ5752", "13", "--kind", KNOWN_GOOD, "--condition", "no signal")

    def test_a_reading_above_the_maximum_is_kept_only_with_a_reason(
        self, run: Run, shop: Shop
    ) -> None:
        refused = run("note", *self.ABOVE, "--dc", "90 V", "--yes")
        assert refused.exit_code == 2
        assert "is above its absolute maximum" in refused.output
        assert load_own_notes(shop) == []
        kept = run("note", *self.ABOVE, "--dc", "90 V", "--reason", "Flashover while measuring.")
        assert kept.exit_code == 0
        assert load_own_notes(shop)[0].reason == "Flashover while measuring."

    def test_a_day_to_come_is_asked_about_on_a_terminal(
        self, answering: Callable[..., Result], shop: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("pinfolio.plugins.terminal.shop_options.on_terminal", lambda: True)
        remark = ("add", "TQZ5752", "13", "--kind", "remark", "--text", "Late.")
        told = answering(*remark, "--date", "2999-01-01", lines=["The bench's clock is right."])
        assert "Hardly possible: the date 2999-01-01 is to come" in told.output
        assert load_own_notes(shop)[0].reason == "The bench's clock is right."


class TestAnchors:
    def test_an_edit_follows_the_pin_that_the_note_means(self, note: Callable[..., Note]) -> None:
        chip = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
        written = note("add", "TQZ5752", "13", "--kind", "remark", "--text", "Warm.")
        assert written.anchor is not None
        assert follow_place(written, chip) == "pin 13"
        moved = written.model_copy(update={"at": "pin 14"})  # as if pin 13 had been 14 then
        assert follow_place(moved, chip) == "pin 13"
        gone = written.anchor.model_copy(update={"symbol": "GONE", "function": "Gone."})
        with pytest.raises(BadForm, match="has the place of this note no more"):
            follow_place(written.model_copy(update={"anchor": gone}), chip)


class TestAdding:
    def test_a_page_address_holds_all_but_the_kind(self, note: Callable[..., Note]) -> None:
        assert read_fields(
            note("add", "--from", GOOD, "--kind", KNOWN_GOOD, "--chassis", "CH 12")
        ) == {
            "kind": KNOWN_GOOD,
            "shop": "bench-a",
            "author": "anna",
            "chip": "TQZ5752",
            "at": "pin 13",
            "chassis": "CH 12",
            "condition": "colour bars",
            "meter": "digital meter",
            "probe": "x1 probe",
            "scope": "analogue 20 MHz",
            "readings": {"dc": "3.07V", "vpp": "0.98Vpp"},
        }

    def test_a_flag_goes_before_the_address(self, note: Callable[..., Note]) -> None:
        made = note("add", "--from", GOOD, "--kind", KNOWN_GOOD, "--dc", "3.1 V", "--vpp", "")
        assert read_fields(made)["readings"] == {"dc": "3.1 V"}

    def test_a_fault_with_everything(self, note: Callable[..., Note]) -> None:
        made = note(
            *("add", "tqz-5752", "cvbs int", "--kind", FAULT, "--symptom", "Picture tears."),
            *("--seen", "missing, hum", "--part", "C712", "--failure", "dried out"),
            *("--cure", "1 µF, 105 °C", "--after", "dc=3.1 V vpp=1Vpp", "--sets", "2"),
            *("--confidence", "several times", "--author", "ben", "--date", "2026-11-02"),
        )
        assert read_fields(made) == {
            "kind": FAULT,
            "shop": "bench-a",
            "author": "ben",
            "confidence": "several times",
            "chip": "TQZ5752",
            "at": "pin 3",
            "sets": 2,
            "scope": "analogue 20 MHz",
            "symptom": "Picture tears.",
            "readings": {"seen": ["missing", "hum"]},
            "part": "C712",
            "failure": "dried out",
            "cure": "1 µF, 105 °C",
            "readings_after": {"dc": "3.1 V", "vpp": "1Vpp"},
        }
        assert made.date == "2026-11-02"

    def test_a_remark_without_readings_names_no_instruments(
        self, note: Callable[..., Note]
    ) -> None:
        made = note("add", "TQZ5752", "sync-separator", "--kind", "remark", "--text", "Runs warm.")
        assert (made.meter, made.scope, made.at) == (None, None, "sync-separator")

    def test_text_comes_from_standard_input(self, run: Run, shop: Shop) -> None:
        arguments = ["note", "add", "TQZ5752", "13", "--kind", "caution", "--text", "-"]
        assert CliRunner().invoke(main, arguments, input="*Live*\n\n- never\n").exit_code == 0
        assert load_own_notes(shop)[0].text == "*Live*\n\n- never"

    def test_a_chip_in_no_folio_is_kept_when_that_is_said(self, note: Callable[..., Note]) -> None:
        made = note(
            *("add", "QQ 77", "4", "--unlisted", "--kind", "remark", "--text", "Unknown marking.")
        )
        assert (made.chip, made.at) == ("QQ 77", "pin 4")

    @pytest.mark.parametrize(
        ("arguments", "status", "message"),
        [
            ([], 2, "the note has no chip; give one, such as TQZ5752"),
            (["TQZ5752"], 2, "the note has no place; give one, such as 17 or C712"),
            (["TQZ5752", "13"], 2, "a note needs a kind; choose one of known-good reading"),
            (
                ["TQZ5752", "13", "--kind", "gossip"],
                2,
                "'gossip' is not a kind of note; choose",
            ),
            (
                ["TQZ5752", "13", "--kind", FAULT],
                2,
                "Error: a note of kind 'fault and remedy' needs the field symptom",
            ),
            (["TQZ5752", "13", "--kind", "remark"], 2, "needs the field text"),
            (["TQZ5755", "13", "--kind", "remark"], 1, "taken with --unlisted"),
            (["TQZ5752", "99", "--kind", "remark"], 1, "no node, block or part has this name"),
            (["TQZ5752", "13", "--condition", "asleep"], 1, "there are: off, standby, no signal"),
            (["TQZ5752", "13", "--dc", "3 Hz"], 2, "dc '3 Hz': expected a voltage in V"),
            (["TQZ5752", "13", "--seen", "blue smoke"], 2, "expected one of missing, unstable"),
            (["TQZ5752", "13", "--sets", "many"], 2, "sets: 'many' is not a number of sets"),
            (
                ["TQZ5752", "13", "--date", "yesterday"],
                2,
                "date: 'yesterday' is not a day",
            ),
            (["TQZ5752", "13", "--after", "all well"], 2, "after: 'all well' holds no readings"),
            (["TQZ5752", "13", "--probe", "stick"], 1, "there are: x10 probe"),
            (
                ["TQZ5752", "13", "--caption", "A print."],
                2,
                "1 captions do not match 0",
            ),
            (["--from", "http://127.0.0.1/notes"], 2, "is not the address of a pin's page"),
        ],
    )
    def test_what_cannot_be_kept_is_said_in_one_line_and_nothing_is_written(
        self, arguments: list[str], status: int, message: str, run: Run, shop: Shop
    ) -> None:
        result = run("note", "add", *arguments)
        assert result.exit_code == status
        assert message in result.output
        assert list(shop.notes.iterdir()) == []


class TestAnswering:
    def test_everything_is_asked_on_a_terminal(
        self, answering: Callable[..., Result], shop: Shop
    ) -> None:
        lines = [
            *("tqz5752", "13", "c", "known", "Colour Bars", "3.1 Hz", "3,1", "", "", "", "hum"),
            *("CH 12", "2", "always"),
        ]
        result = answering("add", lines=lines)
        assert result.exit_code == 0, result.output
        assert "dc '3.1 Hz': expected a voltage" in result.output
        made = load_own_notes(shop)[0]
        assert made.condition == "colour bars"
        assert read_fields(made)["readings"] == {"dc": "3.1 V", "seen": ["hum"]}
        assert (made.sets, made.confidence, made.chassis) == (2, "always", "CH 12")

    def test_what_is_needed_is_asked_until_it_is_there(
        self, answering: Callable[..., Result], shop: Shop
    ) -> None:
        nothing = [""] * 5
        lines = ["colour bars", *nothing, "unstable", *[""] * 3]
        result = answering("add", "TQZ5752", "13", "--kind", KNOWN_GOOD, lines=lines)
        assert result.exit_code == 0, result.output
        assert read_fields(load_own_notes(shop)[0])["readings"] == {"seen": ["unstable"]}

    def test_nothing_is_asked_when_all_that_is_needed_is_said(
        self, answering: Callable[..., Result], shop: Shop
    ) -> None:
        result = answering("add", "--from", GOOD, "--kind", KNOWN_GOOD, lines=[])
        assert result.exit_code == 0, result.output
        assert len(load_own_notes(shop)) == 1

    def test_editing_offers_what_was_said_and_a_hyphen_takes_it_back(
        self, note: Callable[..., Note], answering: Callable[..., Result], shop: Shop
    ) -> None:
        first = note(
            *("add", "TQZ5752", "13", "--kind", "remark", "--text", "Warm.", "--chassis", "CH 1")
        )
        assert answering("edit", first.id, lines=["Runs warm.", "-"]).exit_code == 0
        newest = collect_notes(load_own_notes(shop))[0].heads[0]
        assert (newest.text, newest.chassis) == ("Runs warm.", None)
        assert newest.follows == (first.digest,)


class TestPersonal:
    ADD = ("add", "TQZ5752", "13", "--kind", "remark", "--text", "Ring 0171 555 1234.")

    def test_it_is_named_before_anything_is_written(self, run: Run, shop: Shop) -> None:
        result = run("note", *self.ADD)
        assert result.exit_code == 1
        assert "text: '0171 555 1234' looks like a telephone number" in result.output
        assert list(shop.notes.iterdir()) == []

    def test_it_is_kept_and_shared_on_the_word_of_who_writes(
        self, note: Callable[..., Note], run: Run, tmp_path: Path
    ) -> None:
        note(*self.ADD, "--yes")
        result = run("share", "-o", tmp_path / "x.bundle")
        assert result.exit_code == 1
        assert "looks like a telephone number" in result.output
        assert not (tmp_path / "x.bundle").exists()
        assert run("share", "-o", tmp_path / "x.bundle", "--yes").exit_code == 0


class TestEditing:
    def test_the_revision_before_stays_and_the_new_one_follows_it(
        self, note: Callable[..., Note], shop: Shop
    ) -> None:
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD)
        second = note("edit", first.id[:5], "--sets", 3, "--vpp", "", "--chassis", "CH 12")
        assert {n.digest for n in load_own_notes(shop)} == {first.digest, second.digest}
        assert second.follows == (first.digest,)
        changes = {"sets": 3, "readings": {"dc": "3.07V"}, "chassis": "CH 12"}
        assert read_fields(second) == read_fields(first) | changes | {"follows": [first.digest]}

    def test_the_same_again_is_no_change(
        self, note: Callable[..., Note], run: Run, shop: Shop
    ) -> None:
        first = note("add", "--from", GOOD, "--kind", KNOWN_GOOD)
        result = run("note", "edit", first.id, "--dc", "3.07V")
        assert result.exit_code == 1
        assert "Nothing is changed" in result.output
        assert len(load_own_notes(shop)) == 1

    def test_a_note_may_move_to_another_pin_of_another_chip(
        self, note: Callable[..., Note], run: Run
    ) -> None:
        first = note("add", "TQZ5752", "52", "--kind", "remark", "--text", "Warm.")
        assert run("note", "edit", first.id, "--chip", "KYE2620").exit_code == 1
        moved = note("edit", first.id, "--chip", "KYE2620", "--at", "2")
        assert (moved.chip, moved.at) == ("KYE2620", "pin 2")

    @pytest.mark.parametrize(
        ("name", "message"), [("abc", "at least 4 letters"), ("zzzzzz", "no note 'zzzzzz' here")]
    )
    def test_another_name_is_no_note(self, name: str, message: str, run: Run, shop: Shop) -> None:
        for command in ("edit", "show", "withdraw"):
            result = run("note", command, name)
            assert result.exit_code == 1
            assert message in result.output


class TestReading:
    @pytest.fixture
    def written(self, note: Callable[..., Note]) -> list[Note]:
        remark = ("--kind", "remark", "--text")
        return [
            note("add", "TQZ5752", "13", *remark, "Old.", "--date", "2026-01-01"),
            note("add", "TQZ5752", "13", *remark, "New.", "--date",
                 "2026-02-01"),
            note("add", "TQZ5752", "9", *remark, "Supply.", "--date", "2026-03-01"),
            note("add", "KYE2620", "2", "--kind", "caution", "--text", "Live."),
        ]  # fmt: skip

    def listed(self, run: Run, *arguments: str) -> list[str]:
        result = run("note", "list", *arguments, "--json")
        return [n["text"] for n in json.loads(result.output)["notes"]]

    def test_by_chip_and_place_the_newest_first(self, written: list[Note], run: Run) -> None:
        assert self.listed(run) == ["Live.", "Supply.", "New.", "Old."]
        assert self.listed(run, "tqz5752") == ["Supply.", "New.", "Old."]
        assert self.listed(run, "TQZ5752", "13") == ["New.", "Old."]
        assert self.listed(run, "--kind", "caut") == ["Live."]
        assert self.listed(run, "--by", "bench-b") == []

    def test_the_table_names_each_by_an_id_that_show_takes(
        self, written: list[Note], run: Run
    ) -> None:
        rows = run("note", "list", "TQZ5752", "9").output
        short = written[2].id[:6]
        assert short in rows
        assert "remark; Supply." in rows
        assert "Text          Supply." in run("note", "show", short).output

    def test_what_would_act_on_a_terminal_is_spelt_out(
        self, note: Callable[..., Note], run: Run
    ) -> None:
        made = note("add", "TQZ5752", "13", "--kind", "remark", "--text", "no\u200bthing")
        assert "no\\u200bthing" in run("note", "list").output
        assert "no\\u200bthing" in run("note", "show", made.id).output

    def test_a_note_as_json_has_every_revision(
        self, written: list[Note], note: Callable[..., Note], run: Run
    ) -> None:
        second = note("edit", written[0].id, "--text", "Older.", "--date", "2026-04-01")
        document = json.loads(run("note", "show", second.id, "--json").output)
        assert document["digest"] == second.digest
        assert document["text"] == "Older."
        assert [r["digest"] for r in document["revisions"]] == [written[0].digest, second.digest]
        assert document["revisions"][1]["follows"] == [written[0].digest]


class TestFaultFinding:
    JOB = (
        *("faultfind", "MDQ3724", "--symptom", "no green"),
        *("--reading", "socket-a-green vpp=0.7Vpp", "--reading", "2 vpp=0.01Vpp"),
    )

    def test_a_finished_job_is_a_fault_and_its_remedy(self, run: Run, shop: Shop) -> None:
        proved = ("--reading", "C302: open", "--note", "--cure", "New 100 nF polyester.")
        result = run(*self.JOB, *proved)
        assert result.exit_code == 0, result.output
        assert read_fields(load_own_notes(shop)[0]) == {
            "kind": FAULT,
            "shop": "bench-a",
            "author": "anna",
            "chip": "MDQ3724",
            "at": "pin 2",
            "condition": "colour bars",
            "symptom": "no green",
            "readings": {"vpp": "10 mVpp"},
            "part": "C302",
            "failure": "open",
            "proof": "out of circuit: open",
            "cure": "New 100 nF polyester.",
            "text": "- socket-a-green: 700 mVpp, as expected\n- C302, out of circuit: open",
        }

    def test_what_was_not_proved_is_no_cause(self, run: Run, shop: Shop) -> None:
        assert run(*self.JOB, "--note", "--cure", "New 100 nF polyester").exit_code == 0
        kept = read_fields(load_own_notes(shop)[0])
        assert not {"part", "failure", "proof"} & kept.keys()
        first, *_ = kept["text"].splitlines()
        assert first.startswith("Cured by: New 100 nF polyester; cause not proved. Suspected: C302")

    def test_without_a_cure_there_is_no_note(self, run: Run, shop: Shop) -> None:
        assert "--note needs what cured the set" in run(*self.JOB, "--note").output
        assert "--cure goes with --note" in run(*self.JOB, "--cure", "x").output
        assert load_own_notes(shop) == []
