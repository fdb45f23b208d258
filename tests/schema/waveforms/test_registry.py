"""A kind of waveform registers itself, and is checked against something outside the project."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import ClassVar, Literal

import pytest
from pinfolio.schema.file_format.field_docs import read_field_docs
from pinfolio.schema.waveforms import WAVEFORM_KINDS, Waveform, kinds
from pinfolio.schema.waveforms.base import REGISTERED_KINDS, Example
from pydantic import ValidationError

PUBLISHED = Path(__file__).parents[2] / "published"


def test_kinds_are_listed_in_the_order_of_the_alphabet() -> None:
    assert list(WAVEFORM_KINDS) == sorted(WAVEFORM_KINDS, key=str.casefold)


def test_every_kind_of_the_folder_is_listed() -> None:
    for module in iter_modules(kinds.__path__, f"{kinds.__name__}."):
        import_module(module.name)
    of_the_folder = {
        kind for kind, cls in REGISTERED_KINDS.items() if cls.__module__.startswith(kinds.__name__)
    }
    assert of_the_folder == {*WAVEFORM_KINDS}, (
        'write a kind as a line of its own: kind: Literal["…"]'
    )
    assert len(WAVEFORM_KINDS) == len(of_the_folder) > 30


def test_a_kind_is_imported_when_it_is_asked_for() -> None:
    code = (
        "import sys; from pinfolio.schema import WAVEFORM_KINDS;"
        "WAVEFORM_KINDS['polyline'];"
        "print(*(name for name in sys.modules if '.waveforms.kinds.' in name))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["pinfolio.schema.waveforms.kinds.polyline"]


def test_a_kind_without_an_example_is_refused() -> None:
    with pytest.raises(TypeError, match="waveform kind 'bare' has no example; set one in Bare"):

        class Bare(Waveform):
            kind: Literal["bare"]


def test_a_kind_is_registered_once() -> None:
    assert WAVEFORM_KINDS["sine"].__name__ == "Sine"
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
    cls = WAVEFORM_KINDS[kind]
    is_checked = f'"{kind}"' in checks or re.search(rf"\b{cls.__name__}\b", checks)
    assert is_checked, (
        f"waveform kind {kind!r} has no published check; compare its volts with a standard or a "
        f"textbook in tests/published/test_{cls.__module__.rpartition('.')[2]}.py, source beside"
    )


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_every_example_is_a_waveform_of_its_kind(kind: str) -> None:
    cls = WAVEFORM_KINDS[kind]
    try:
        cls.model_validate({"kind": kind, **cls.example})
    except ValidationError as error:
        pytest.fail(
            f"the example of {kind!r} is no waveform of its kind; correct 'example' in "
            f"{cls.__name__}: {error}"
        )


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_every_field_of_a_kind_has_its_docstring(kind: str) -> None:
    """The JSON Schema takes the description of a key from it."""
    cls = WAVEFORM_KINDS[kind]
    documented = read_field_docs(cls)
    missing = [name for name in cls.model_fields if name not in (*documented, "kind")]
    assert not missing, (
        f"{cls.__name__}.{missing[0]} has no docstring; write its meaning under the field"
    )


@pytest.mark.parametrize("kind", WAVEFORM_KINDS)
def test_every_kind_defines_its_volts_its_period_and_its_words(kind: str) -> None:
    cls = WAVEFORM_KINDS[kind]
    required = ("volts", "period_s", "describe")
    missing = [name for name in required if getattr(cls, name) is getattr(Waveform, name)]
    assert not missing, (
        f"waveform kind {kind!r} has no {', '.join(missing)}; define it in {cls.__name__}"
    )
