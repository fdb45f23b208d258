"""The user's folders are those of platformdirs, the outside reference for where they are."""

from __future__ import annotations

import os

import platformdirs
import pytest
from pinfolio.loaders.system.user_folders import cache_folder, locate_data_folder


@pytest.mark.parametrize("base", [None, "", "  ", "/srv/things", "/srv/things/", "/srv/ö ä"])
def test_they_are_where_platformdirs_has_them(
    base: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    for variable in ("XDG_DATA_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(variable, raising=False)
        if base is not None:
            monkeypatch.setenv(variable, base)
    theirs = platformdirs.user_data_dir, platformdirs.user_cache_dir
    for ours, there in zip((locate_data_folder(), cache_folder()), theirs, strict=True):
        assert os.path.normpath(ours) == os.path.normpath(there("pinfolio", appauthor=False))


def test_a_home_of_its_own_is_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.setenv("HOME", "/home/bench")
    assert locate_data_folder() == platformdirs.user_data_path("pinfolio", appauthor=False)
