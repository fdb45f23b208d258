"""Pictures of a card: a screen where there is a signal, vectors where it carries colour bars."""

from __future__ import annotations

from pinfolio.plugins.cards.pictures import (
    draw_instrument_picture,
    draw_scope_picture,
    draw_vector_picture,
)
from pinfolio.plugins.cards.pin_card import build_pin_card
from pinfolio.schema import Chip
from pinfolio.schema.chips.lookup import find_pin
from pinfolio.schema.instruments.ordinary import BUILT_IN


def test_a_pin_with_a_signal_has_a_screen_and_one_without_has_none(chip: Chip) -> None:
    assert 'class="scope-picture"' in (draw_scope_picture(build_pin_card(chip, chip.pins[0])) or "")
    assert draw_scope_picture(build_pin_card(chip, chip.pins[5])) is None


def test_only_composite_video_and_chrominance_have_vectors(jungle: Chip, chip: Chip) -> None:
    video = build_pin_card(jungle, find_pin(jungle, "13"))
    assert 'class="vector-picture"' in (draw_vector_picture(video) or "")
    assert draw_vector_picture(build_pin_card(chip, chip.pins[0])) is None


def test_with_chosen_instruments_there_is_a_screen_of_theirs(chip: Chip) -> None:
    chosen = BUILT_IN.choose(probe="x1 probe")
    picture = draw_instrument_picture(build_pin_card(chip, chip.pins[0], None, chosen)) or ""
    assert 'class="scope-picture"' in picture
    assert "QZ1 pin 1 IN through x1 probe and analogue 20 MHz" in picture


def test_the_titles_say_what_is_shown(chip: Chip, jungle: Chip) -> None:
    assert "QZ1 pin 1 IN, colour bars" in (
        draw_scope_picture(build_pin_card(chip, chip.pins[0])) or ""
    )
    video = build_pin_card(jungle, find_pin(jungle, "13"))
    assert "vectors of 75 % colour bars" in (draw_vector_picture(video) or "")


def test_without_chosen_instruments_there_is_no_second_screen(chip: Chip) -> None:
    assert draw_instrument_picture(build_pin_card(chip, chip.pins[0])) is None
