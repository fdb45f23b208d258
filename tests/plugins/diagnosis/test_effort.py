"""Minutes of each step: the table's, dearer at nodes and near a hazard; what is never proposed."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.diagnosis.deciding.effort import Efforts, load_usual_effort

CHIP = load_chip(next(path for path in chip_files() if path.stem == "tqz5752"))
EFFORTS = Efforts(CHIP)
TABLE = load_usual_effort()


@pytest.mark.parametrize("quantity", ["dc", "vpp", "frequency", "ripple", "resistance"])
def test_a_pin_takes_the_minutes_of_the_table_and_a_node_some_more(quantity: str) -> None:
    at_pin = EFFORTS.estimate_measuring("pin 5", quantity)
    assert at_pin == TABLE["measure"][quantity]
    assert EFFORTS.estimate_measuring("sync-node", quantity) == pytest.approx(
        TABLE["reach"]["node"] * at_pin
    )


def test_near_a_hazard_everything_is_slower() -> None:
    """Pin 24 is marked by its X-radiation and R716 leads to it; on pin 32 hangs the tube's red."""
    slower = TABLE["near a hazard"]
    assert EFFORTS.estimate_measuring("pin 24", "dc") == slower * TABLE["measure"]["dc"]
    assert EFFORTS.estimate_measuring("pin 32", "dc") == slower * TABLE["measure"]["dc"]
    assert EFFORTS.estimate_repairing(("part", "R716")) == slower * TABLE["prove"]["ordinary"]
    assert EFFORTS.estimate_repairing(("part", "R705")) == TABLE["prove"]["ordinary"]


def test_each_kind_of_thing_has_its_minutes() -> None:
    assert EFFORTS.estimate_repairing(("part", "X702")) == TABLE["prove"]["crystal"]
    assert EFFORTS.estimate_repairing(("part", "Q701")) == TABLE["prove"]["transistor"]
    assert EFFORTS.estimate_repairing(("part", "C712"), is_bridged=True) == TABLE["bridge"]
    for kind in ("joint", "supply", "outside", "chip", "none"):
        assert EFFORTS.estimate_repairing((kind, "")) == TABLE["repair"][kind]


def test_the_chip_is_the_dearest_thing_to_change_but_looking_elsewhere() -> None:
    repairs = TABLE["repair"]
    others = [repairs[kind] for kind in ("joint", "supply", "outside")]
    assert max(others) < repairs["chip"] < repairs["none"]
    assert max(TABLE["prove"].values()) < repairs["chip"]


def test_switching_the_set_off_costs_as_much_for_a_capacitor_as_for_a_resistance() -> None:
    assert TABLE["bridge"] >= TABLE["measure"]["resistance"]
    assert max(TABLE["measure"][q] for q in ("dc", "vpp", "frequency", "ripple")) < TABLE["bridge"]


def test_a_point_that_must_not_be_probed_is_neither_measured_nor_lifted_nor_bridged() -> None:
    assert not EFFORTS.may_measure("crt-red")
    assert EFFORTS.may_measure("pin 24")
    led_there = [p.ref for p in CHIP.application.parts if "crt-red" in p.joins]
    assert led_there
    assert not any(EFFORTS.may_lift(ref) for ref in led_there)
    assert EFFORTS.may_lift("C712")


@pytest.mark.parametrize(
    ("thing", "may"),
    [(("part", "C712"), True), (("part", "C711"), True), (("part", "R708"), False),
     (("joint", "13"), False), (("part", "X702"), False)],
)  # fmt: skip
def test_only_a_capacitor_can_have_a_good_one_held_across(
    thing: tuple[str, str], may: bool
) -> None:
    assert EFFORTS.may_bridge(thing) is may


def test_measurements_become_dearer_once_patience_is_used_up() -> None:
    patience, each = TABLE["patience"], TABLE["impatience"]
    assert EFFORTS.compute_impatience(0) == EFFORTS.compute_impatience(patience) == 1
    assert EFFORTS.compute_impatience(patience + 3) == pytest.approx(1 + 3 * each)
    assert EFFORTS.look_ahead == TABLE["look ahead"] > 1
