"""A command imports only the modules it needs, so that it starts fast."""

from __future__ import annotations

import importlib
import inspect
import os
import subprocess
import sys
from dataclasses import is_dataclass
from pathlib import Path

import pytest
from pinfolio.schema import chip, instruments, note  # noqa: F401  every model
from pinfolio.schema.model import Model
from pinfolio.schema.waveforms import WAVEFORM_KINDS

PAGES = {"datasette", "uvicorn", "jinja2", "sqlite_utils", "ssl", "httpx"}
# Models are read back without the validators, and most answers need no samples of a waveform.
CARDS = PAGES | {
    "numpy",
    "yaml",
    "cryptography",
    "pydantic.plugin._loader",
    "pinfolio.schema.rules",
    "pinfolio.schema.waveforms.kinds.recorder",  # of a kind that this chip has none of
    "subprocess",
}
UNNEEDED = {
    ("--help",): PAGES | {"numpy", "pydantic", "rich", "sqlite3", "yaml"},
    ("find", "TQZ5752"): PAGES | {"numpy", "pydantic", "rich", "yaml"},
    ("find", "TQZ5752", "--json"): PAGES | {"numpy", "pydantic", "rich", "yaml"},
    ("find", "burst", "key"): PAGES | {"numpy", "pydantic"},
    ("chip", "TQZ5752"): CARDS | {"pinfolio.plugins.cards.pin_card", "pinfolio.schema.instruments"},
    ("pin", "TQZ5752", "13"): CARDS
    | {
        "pinfolio.plugins.instruments.instrument_view",
        "pinfolio.plugins.readings.reading_syntax",
    },
    ("check", "TQZ5752", "13", "--dc", "3.1 V"): CARDS,
    ("faultfind", "TQZ5752", "--help"): PAGES,
    ("capture", "--help"): PAGES | {"numpy", "pyvisa", "scipy"},
    ("draft", "--help"): PAGES | {"numpy", "PIL", "pdfplumber", "pypdfium2", "rapidocr"},
}


def list_imports(arguments: tuple[str, ...], folio: Path) -> set[str]:
    """Return the modules that are loaded when ``pinfolio`` has run with these arguments."""
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
        f"sys.argv = ['pinfolio', *{arguments!r}]\n"
        "from pinfolio.plugins.terminal.cli import run\n"
        "run()"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PINFOLIO_FOLIO": str(folio)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode in (0, 1), ran.stderr
    return set(ran.stderr.split())


@pytest.mark.parametrize(("arguments", "unneeded"), UNNEEDED.items(), ids=map(" ".join, UNNEEDED))
def test_a_command_imports_only_what_it_needs(
    arguments: tuple[str, ...], unneeded: set[str], demo_path: Path
) -> None:
    assert list_imports(arguments, demo_path) & unneeded == set()


@pytest.mark.parametrize(
    ("arguments", "kept"),
    [
        (("chip", "TQZ5752"), {"Quantity"}),
        (("pin", "TQZ5752", "13"), {"Quantity", "ConditionView", "PinCard"}),
        (
            ("check", "TQZ5752", "13", "--dc", "3.1 V"),
            {"Quantity", "Figure", "PointReading", "PartReading", "Fault", "BrokenRule"},
        ),
    ],
    ids=["chip", "pin", "check"],
)
def test_records_that_are_made_at_the_start_are_named_tuples(
    arguments: tuple[str, ...], kept: set[str], demo_path: Path
) -> None:
    """A dataclass compiles six functions when it is imported; a named tuple one.

    Those kept leave a field out of comparisons, check their values, or hold what they computed.
    """
    modules = [name for name in list_imports(arguments, demo_path) if name.startswith("pinfolio.")]
    made = {
        value.__name__
        for name in modules
        for value in vars(importlib.import_module(name)).values()
        if inspect.isclass(value) and value.__module__ == name and is_dataclass(value)
    }
    assert made <= kept, f"derive from NamedTuple: {', '.join(sorted(made - kept))}"


def test_models_annotate_their_fields_with_types() -> None:
    """Pydantic compiles an annotation that is text, and evaluates it name by name."""
    assert all(issubclass(kind, Model) for kind in WAVEFORM_KINDS.values())  # imported by this
    models = [Model]
    for model in models:
        models += model.__subclasses__()
        written = inspect.get_annotations(model)
        in_text = [name for name, annotation in written.items() if isinstance(annotation, str)]
        if model.__module__.startswith("pinfolio.schema."):
            assert in_text == [], f"{model.__module__}: drop from __future__ import annotations"
    assert len(models) > 50
