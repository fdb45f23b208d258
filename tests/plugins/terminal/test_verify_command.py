"""``pinfolio verify``: a line for each damage, exit status 1; a signature of a known shop."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from click.testing import Result
from pinfolio.loaders.shop.shop_folder import Shop

Run = Callable[..., Result]


def test_a_sound_folio(run: Run, demo_path: Path) -> None:
    result = run("verify", demo_path)
    assert result.exit_code == 0
    assert result.output.startswith(f"{demo_path}: no damage; folio with ")


def test_each_damage_is_one_line_and_inert(run: Run, shop: Shop) -> None:
    """A file name that would clear the terminal; ECMA-48, 8.3.39 (ED) and 5.4 (CSI)."""
    (shop.folder / "keys").mkdir()
    (shop.folder / "keys" / "device-\x1b[2J.json").write_text("{}")
    (shop.folder / "keys" / "device-a.json").write_text("{}")
    result = run("verify", shop.folder)
    assert result.exit_code == 1
    assert len(result.stdout.splitlines()) == 2
    assert all("no statement about a key: expected" in line for line in result.stdout.splitlines())
    assert "\x1b" not in result.output
    result = run("verify", shop.folder, "--json")
    assert result.exit_code == 1
    assert "\x1b" not in result.output
    assert len(json.loads(result.stdout)["damages"]) == 2


def test_the_shop_that_must_have_signed(
    run: Run, demo_path: Path, tmp_path: Path, shop: Shop, other: Shop
) -> None:
    public = tmp_path / "public"
    run("publish", demo_path, "-o", public, "--no-pages", "--sign", "--shop", other.folder)
    verify = ("verify", public, "--from-shop", "bench-b")
    assert run(*verify).exit_code == 2
    shop.known_shops.write_text(f'[bench-b]\npublic_key = "{other.public_key.hex()}"\n')
    assert run(*verify).exit_code == 0
    shop.known_shops.write_text(f'[bench-b]\npublic_key = "{shop.public_key.hex()}"\n')
    result = run(*verify)
    assert result.exit_code == 1
    assert "the signature is wrong" in result.stdout
