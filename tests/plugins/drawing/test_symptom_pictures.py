"""Symptoms as pictures: well formed, all different, of one scene."""

from __future__ import annotations

from xml.etree import ElementTree

from pinfolio.plugins.drawing.symptom_pictures import draw_symptom
from pinfolio.plugins.search.symptom_chips import PICTURED


def test_every_pictured_symptom_has_a_screen_of_its_own() -> None:
    names = [name for one in PICTURED for name in (one.name, *one.also)]
    drawn = {name: draw_symptom(name) for name in names}
    assert len(set(drawn.values())) == len(names)
    for svg in drawn.values():
        assert ElementTree.fromstring(svg).get("aria-hidden") == "true"


def test_a_symptom_without_a_picture_shows_a_good_screen() -> None:
    assert draw_symptom("snow") == draw_symptom("")
