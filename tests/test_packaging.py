"""The wheel holds everything a run needs, and works installed where the sources are not."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SHIPPED = {
    ".py",
    ".sql",
    ".txt",
    ".html",
    ".css",
    ".js",
    ".svg",
    ".yaml",
    ".json",
    ".typed",
    ".csv",
    ".png",
    ".jpg",
}
PACKAGES = ("schema", "loaders", "plugins", "data_demo")


def list_shipped_files() -> set[str]:
    """Files of the package folders that must be in the wheel."""
    return {
        f"pinfolio/{path.relative_to(ROOT).as_posix()}"
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.suffix in SHIPPED and "__pycache__" not in path.parts
    }


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from a copy of the tree, so that nothing is left behind in the tree."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    for name in listed.stdout.splitlines():
        target = source / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes((ROOT / name).read_bytes())
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out)]
    subprocess.run([*build, str(source)], check=True, capture_output=True)
    return next(out.glob("*.whl"))


def test_the_wheel_holds_templates_sql_static_files_and_demo_chips(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if ".dist-info/" not in name}
    assert held == list_shipped_files()


def test_the_installed_wheel_finds_a_pin_in_its_own_demo_folio(wheel: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    install = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index"]
    subprocess.run([*install, "--target", str(site), str(wheel)], check=True)
    environment = {
        **os.environ,
        "PYTHONPATH": str(site),
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
        "XDG_DATA_HOME": str(tmp_path / "data"),
    }
    environment.pop("PINFOLIO_FOLIO", None)
    where = "import pinfolio.schema as s; print(s.__file__)"
    run = {"env": environment, "cwd": tmp_path, "capture_output": True, "text": True}
    assert str(site) in subprocess.run([sys.executable, "-c", where], check=True, **run).stdout
    program = "from pinfolio.plugins.terminal.cli import main; main()"
    found = subprocess.run([sys.executable, "-c", program, "find", "TQZ57"], check=True, **run)
    assert "TQZ5752" in found.stdout


def test_the_editable_install_runs_from_the_tree() -> None:
    where = "import pinfolio.schema as s; print(s.__file__)"
    here = subprocess.run([sys.executable, "-c", where], capture_output=True, text=True, check=True)
    assert Path(here.stdout.strip()).parent == ROOT / "schema"
