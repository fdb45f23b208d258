"""A kind of waveform registers itself, and is checked against something outside the project."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar, Literal

import pytest
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Waveform
from pinfolio.schema.waveforms.base import REGISTERED_KINDS, Example

PUBLISHED = Path(__file__).parents[2] / "published"


def test_kinds_are_listed_in_the_order_of_the_alphabet() -> None:
    assert list(WAVEFORM_KINDS) == sorted(WAVEFORM_KINDS, key=str.casefold)


def test_a_kind_without_an_example_is_refused() -> None:
    with pytest.raises(TypeError, match="waveform kind 'bare' has no example; set one in Bare"):

        class Bare(Waveform):
            kind: Literal["bare"]


def test_a_kind_is_registered_once() -> None:
    with pytest.raises(TypeError, match="waveform kind 'sine' is registered twice"):

        class Sine(Waveform):
            kind: Literal["sine"]
            example: ClassVar[Example] = {"frequency": "50 Hz", "vpp": "1 Vpp"}

    assert REGISTERED_KINDS["sine"].__module__ == "pinfolio.schema.waveforms.kinds.basic_shapes"


def test_a_base_without_a_literal_kind_is_no_kind() -> None:
    class Base(Waveform):
        pass

    assert Base not in REGISTERED_KINDS.values()


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_every_kind_has_a_published_check(kind: str) -> None:
    """Some test in ``tests/published`` names the kind, by its word or by its class."""
    checks = "".join(path.read_text("utf-8") for path in PUBLISHED.glob("*.py"))
    assert f'"{kind}"' in checks or WAVEFORM_KINDS[kind].__name__ in checks
