"""The table of pins: figures with their state of the set, and the words of its search."""

from __future__ import annotations

from pinfolio.loaders import Folio
from pinfolio.plugins.cards.pin_table import build_pin_table, order_conditions
from pinfolio.schema import Chip


def test_a_line_says_what_should_be_there_in_each_state(jungle: Chip) -> None:
    table = build_pin_table(jungle)
    assert table.conditions[0] == "colour bars"
    cell = table.rows[12].cells[0]
    assert (cell.dc, cell.limits) == ("3.4 V", "3.06 to 3.74 V")
    assert (cell.vpp, cell.frequency) == ("1 Vpp", "15.6 kHz")
    quiet = table.rows[12].cells[table.conditions.index("no signal")]
    assert quiet.vpp != "1 Vpp"


def test_a_state_that_the_file_says_nothing_of_is_empty(jungle: Chip) -> None:
    table = build_pin_table(jungle)
    cell = table.rows[2].cells[table.conditions.index("standby")]
    assert (cell.expectation, cell.dc, cell.limits, cell.vpp) == (None, "", "", "")


def test_words_role_and_stage_choose_lines(jungle: Chip) -> None:
    rows = build_pin_table(jungle).rows
    assert [row.pin.number for row in rows if row.fits("SYNC IN separator")] == [13]
    assert [row.pin.number for row in rows if row.fits(role="oscillator", group="Colour")] == [46]
    assert not any(row.fits("no such word") for row in rows)
    assert all(row.fits() for row in rows)


def test_what_can_be_chosen_occurs(jungle: Chip) -> None:
    table = build_pin_table(jungle)
    assert table.roles["filter"] == "filter or store"
    assert table.groups[0] == "Picture"
    assert "decoupling" not in table.roles


def test_good_sets_that_contradict_the_file_are_named(demo: Folio) -> None:
    chip = demo.chip("TQZ5752")
    rows = build_pin_table(chip, demo.notes(chip.part)).rows
    assert {row.pin.number: row.shops_read for row in rows if row.shops_read} == {49: "4.42 V"}


def test_a_point_that_must_not_be_probed_is_marked(chip: Chip) -> None:
    assert [row.may_probe for row in build_pin_table(chip).rows][3] is False


def test_a_table_has_columns_for_six_conditions(chip: Chip) -> None:
    """Of eight conditions with two voltages each."""
    names = [f"state {number}" for number in range(8)]
    conditions = [chip.conditions[0].model_copy(update={"name": name}) for name in names]
    quiet = next(e for e in chip.pins[0].expectations if e.condition == "no signal")
    expectations = tuple(quiet.model_copy(update={"condition": name}) for name in names)
    pins = [pin.model_copy(update={"expectations": expectations}) for pin in chip.pins[:2]]
    crowded = chip.model_copy(update={"conditions": tuple(conditions), "pins": tuple(pins)})
    assert order_conditions(crowded) == tuple(names[:6])
