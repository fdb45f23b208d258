"""One step along the signal: the source of a pin, the parts on it, and the part one hop away."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.cards.one_step import find_pin_before_node, trace_chains
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin

DEMO = {path.stem: path for path in chip_files()}


@pytest.fixture(scope="module")
def jungle() -> Chip:
    return load_chip(DEMO["tqz5752"])


@pytest.fixture(scope="module")
def decoder() -> Chip:
    return load_chip(DEMO["kye4728"])


def test_an_input_is_led_back_to_the_pin_that_feeds_it(jungle: Chip) -> None:
    (chain,) = trace_chains(jungle, find_pin(jungle, "SYNC IN"), "colour bars")
    assert [stop.name for stop in chain.stops] == [
        "Pin 6 VID OUT",
        "After the chroma roll-off, ahead of the sync separator",
        "Pin 13 SYNC IN",
        "sync separator",
    ]
    assert [part.ref if part else None for part in chain.through] == ["R708", "C712", None]
    assert chain.stops[0].should_be == ("2.7 V", "1 Vpp")
    assert [str(hung) for hung in chain.stops[1].hanging] == ["C711 220p to ground"]


def test_a_capacitor_at_the_far_side_of_a_crystal_is_on_the_card(jungle: Chip) -> None:
    (chain,) = trace_chains(jungle, find_pin(jungle, "46"), "colour bars")
    assert [part.ref for part in chain.parts] == ["X702", "C731"]


def test_a_crystal_behind_a_series_capacitor_is_on_the_card(decoder: Chip) -> None:
    (chain,) = trace_chains(decoder, find_pin(decoder, "XTAL"), "colour bars")
    assert str(chain) == (
        "subcarrier oscillator – Pin 4 XTAL (4.4 V, 220 mVpp) – C406 22p –"
        " Between the crystal and its series capacitor (0 V, 1.2 Vpp, X401 4.43361875 MHz to"
        " ground)"
    )


def test_a_supply_pin_names_the_rail_its_parts_lead_to(decoder: Chip) -> None:
    (chain,) = trace_chains(decoder, find_pin(decoder, "VCC1"), "colour bars")
    assert "R401 6R8 to 12 V rail from the line output stage" in map(str, chain.stops[0].hanging)


def test_in_a_state_that_nothing_is_known_in_the_stops_say_nothing(jungle: Chip) -> None:
    (chain,) = trace_chains(jungle, find_pin(jungle, "13"), None)
    assert all(stop.should_be == () for stop in chain.stops)


def test_the_document_names_the_part_that_leads_on(jungle: Chip) -> None:
    (chain,) = trace_chains(jungle, find_pin(jungle, "13"), "colour bars")
    first, *_, last = chain.document()
    assert first == {
        "kind": "pin",
        "name": "Pin 6 VID OUT",
        "pin": 6,
        "should_be": ["2.7 V", "1 Vpp"],
        "hanging": ["R707"],
        "through": "R708",
    }
    assert "through" not in last


def test_no_chain_of_any_demo_pin_visits_a_part_twice() -> None:
    for path in DEMO.values():
        chip = load_chip(path)
        for pin in chip.pins:
            for chain in trace_chains(chip, pin, None):
                refs = [part.ref for part in chain.through if part is not None]
                assert len(refs) == len(set(refs)), (chip.part, pin.number)
                assert sum(stop.is_own for stop in chain.stops) == 1


def test_a_node_is_found_from_the_pin_that_a_part_leads_from(decoder: Chip) -> None:
    way = find_pin_before_node(decoder, "crystal-node")
    assert way is not None
    part, number = way
    assert (part.ref, number) == ("C406", 4)
    assert find_pin_before_node(decoder, "no-such-node") is None
