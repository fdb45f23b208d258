"""A note as a form: places, addresses of pages, and back into the note."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.plugins.notes.note_form import (
    BadForm,
    build_note,
    fill_form,
    normalise_place,
    parse_address,
)
from pinfolio.schema import Chip
from pinfolio.schema.note import Note

PAGE = "http://127.0.0.1:8001/chip/TQZ5752/13"
FAULT = "fault and remedy"


class TestForms:
    @pytest.mark.parametrize(
        ("address", "form"),
        [
            (f"{PAGE}.json?dc=1V", {"chip": "TQZ5752", "at": "13", "dc": "1V"}),
            (f"{PAGE}/check.json?freq=15.6kHz", {"chip": "TQZ5752", "at": "13", "freq": "15.6kHz"}),
            ("/chip/A%2FB%2E1/H%20OUT", {"chip": "A/B.1", "at": "H OUT"}),
            (
                "https://bench.local/folio/chip/X1/2?seen=hum&condition=no%20signal&q=%3Cb%3E",
                {"chip": "X1", "at": "2", "seen": "hum", "condition": "no signal"},
            ),
        ],
    )
    def test_addresses_of_pins(self, address: str, form: dict[str, str]) -> None:
        assert parse_address(address) == form

    @pytest.mark.parametrize(
        "address",
        ["", "TQZ5752", "/chip/TQZ5752", "/chip/TQZ5752/fault-finding?symptom=x", "http://[", "/",
         f"{PAGE}?" + "&".join(f"a{n}=1" for n in range(100))],
    )  # fmt: skip
    def test_other_addresses_are_refused(self, address: str) -> None:
        with pytest.raises(BadForm, match="is not the address of a pin's page; it looks like http"):
            parse_address(address)

    @given(st.text(max_size=60))
    def test_any_text_is_an_address_or_refused(self, text: str) -> None:
        try:
            form = parse_address(text)
        except BadForm:
            return
        assert form["chip"]
        assert form["at"]

    def test_places_are_pins_nodes_blocks_and_parts(self, jungle: Chip) -> None:
        pin, block = jungle.pins[12], jungle.blocks[0]
        node, part = jungle.application.nodes[0], jungle.application.parts[0]
        named = ("13", "pin 13", pin.symbol.lower(), block.id, node.id.upper(), part.ref.lower())
        assert [normalise_place(jungle, name) for name in named] == [
            *["pin 13"] * 3,
            *(block.id, node.id, part.ref),
        ]

    texts = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Zl", "Zp"]),
                    min_size=1, max_size=40).filter(str.strip)  # fmt: skip
    readings = st.fixed_dictionaries(
        {"dc": st.sampled_from(["3.10 V", "-120mV", "5 V ± 5 %", "3 V to 4 V"])},
        optional={
            "vpp": st.just("1Vpp"),
            "frequency": st.sampled_from(["15.625 kHz", "50Hz"]),
            "resistance": st.just("12 kΩ"),
            "seen": st.just(["hum", "missing"]),
        },
    )

    @given(
        st.fixed_dictionaries(
            {"symptom": texts, "cure": texts, "sets": st.integers(1, 99_999)},
            optional={
                **dict.fromkeys(("chassis", "condition", "part", "failure", "text"), texts),
                "readings": readings,
                "readings_after": readings,
                "meter": texts,
                "confidence": st.sampled_from(["several times", "always"]),
            },
        )
    )
    def test_a_note_made_of_its_own_form_is_the_same_note(self, fields: dict[str, Any]) -> None:
        known = {"id": "abcdefgh22334455", "shop": "bench-a"}
        who = {"kind": FAULT, "author": "anna", "date": "2026-11-25", "chip": "X1", "at": "pin 1"}
        note = Note.model_validate(known | who | fields)
        assert build_note(fill_form(note), **known) == note
