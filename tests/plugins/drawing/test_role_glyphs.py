"""Marks of roles: one for each, all different, without a style of their own."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from pinfolio.plugins.drawing.role_glyphs import ROLE_WORDS, draw_glyph
from pinfolio.schema.vocabulary import ROLES


@pytest.mark.parametrize("role", ROLES)
def test_every_role_has_a_mark_and_words(role: str) -> None:
    svg = ElementTree.fromstring(draw_glyph(role))
    assert svg.get("aria-hidden") == "true"  # the word is beside it
    assert "style" not in svg.attrib
    assert ROLE_WORDS[role]


def test_no_two_roles_have_the_same_mark() -> None:
    shapes = {draw_glyph(role).partition("1.7")[2] for role in ROLES}
    assert len(shapes) == len(ROLES)
