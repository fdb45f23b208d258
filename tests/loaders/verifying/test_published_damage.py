"""Damages of a published folder: every byte counts, and the remedy that is named mends it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pinfolio.loaders.errors import Fault
from pinfolio.loaders.publishing.download_signature import expect_signature
from pinfolio.loaders.publishing.published_folder import publish
from pinfolio.loaders.shop.shop_folder import Shop
from pinfolio.loaders.verifying.published_damage import list_published_faults

from .conftest import PAGES


def find_faults(folder: Path) -> list[Fault]:
    return list(list_published_faults(folder))


def list_named(folder: Path) -> list[Path]:
    """The files that are named after their contents, in the order of their names."""
    names = ("folio-*", "pages-*/**/*", "signature-*")
    return sorted(path for name in names for path in folder.glob(name) if path.is_file())


def find_newest(folder: Path) -> str:
    name = json.loads((folder / "manifest.json").read_text())["folio"]["sha256"]
    return f"folio-{name}.db"


def test_a_sound_folder_has_no_faults(public: Path) -> None:
    assert len(list_named(public)) == 6
    assert find_faults(public) == []


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_changed_byte_is_found(public: Path, data: st.DataObject) -> None:
    """SHA-256 covers each of these files; a signature is covered by the key of its shop."""
    path = data.draw(
        st.sampled_from([one for one in list_named(public) if not one.name.startswith("sig")])
    )
    sound = path.read_bytes()
    offset = data.draw(st.integers(0, len(sound) - 1))
    path.write_bytes(sound[:offset] + bytes([sound[offset] ^ 1]) + sound[offset + 1 :])
    faults = find_faults(public)
    path.write_bytes(sound)
    assert [(fault.file, fault.found) for fault in faults] == [
        (str(path), "changed after it was published")
    ]


@pytest.mark.parametrize("kept_bytes", [0, 100])
def test_a_file_that_is_cut_short_is_mended_by_the_remedy(
    public: Path, folio: Path, signer: Shop, kept_bytes: int
) -> None:
    for path in (*list_named(public), public / "index.html", public / "manifest.json"):
        path.write_bytes(path.read_bytes()[:-1][:kept_bytes])
        faults = find_faults(public)
        assert str(path) in [fault.file for fault in faults]
        publish(folio, public, PAGES, shop=signer, prune="--prune" in str(faults))
        assert find_faults(public) == [], path


def test_a_file_that_is_lost_is_mended_by_the_remedy(
    public: Path, folio: Path, signer: Shop
) -> None:
    publish(folio, public, PAGES, shop=signer, prune=True)
    for path in (*list_named(public), public / "index.html", public / "manifest.json"):
        path.unlink()
        assert find_faults(public) != [], path
        publish(folio, public, PAGES, shop=signer)
        assert find_faults(public) == [], path


def test_the_remedy_publishes_as_it_was_published(public: Path) -> None:
    (public / find_newest(public)).unlink()
    (fault,) = find_faults(public)
    assert fault.found == "no such file, though the manifest needs it"
    assert fault.expected.endswith(f"publish it again: pinfolio publish FOLIO -o {public} --sign")


def test_a_folio_that_is_cut_short_has_both_lengths(public: Path) -> None:
    path = public / find_newest(public)
    size = path.stat().st_size
    path.write_bytes(path.read_bytes()[:-1000])
    assert [fault.found for fault in find_faults(public)] == [
        f"{size - 1000:,} bytes instead of {size:,}"
    ]


def test_pieces_that_are_not_those_of_the_folio(older: Path, tmp_path: Path) -> None:
    publish(older, tmp_path / "plain")
    manifest = tmp_path / "plain" / "manifest.json"
    document = json.loads(manifest.read_text())
    document["folio"]["pieces"][0] = "0" * 64
    manifest.write_text(json.dumps(document))
    (fault,) = find_faults(tmp_path / "plain")
    assert "digests of pieces" in fault.found
    assert fault.file == str(manifest)


def test_a_page_that_nobody_published_is_named(public: Path) -> None:
    (stray,) = (path / "stray.html" for path in public.glob("pages-*"))
    stray.write_text("<script>")
    (fault,) = find_faults(public)
    assert (fault.file, fault.found) == (str(stray), "a file that was not published")


def test_a_list_reaches_no_file_outside(public: Path, tmp_path: Path) -> None:
    """A folder from a stranger, whose list of pages names a file of the reader."""
    import hashlib

    secret = tmp_path / "secret"
    secret.write_text("mine")
    text = f"{'0' * 64}  ../../secret\n{'0' * 64}  {secret}\n{'0' * 64}  a\0b\n"
    pages = public / f"pages-{hashlib.sha256(text.encode()).hexdigest()}"
    pages.mkdir()
    (pages / "SHA256SUMS").write_text(text)
    assert find_faults(public) == []


def test_without_a_manifest_the_rest_is_verified(public: Path) -> None:
    damaged = public / find_newest(public)
    damaged.write_bytes(b"x" * 600)
    (public / "manifest.json").unlink()
    assert {(Path(fault.file).name, fault.found) for fault in find_faults(public)} == {
        ("manifest.json", "no such file"),
        (damaged.name, "changed after it was published"),
    }


def test_the_signature_of_another_shop(public: Path, signer: Shop, shop: Shop) -> None:
    right, wrong = (expect_signature("bench-s", one.public_key) for one in (signer, shop))
    assert list(list_published_faults(public, right)) == []
    (fault,) = list_published_faults(public, wrong)
    assert "the signature is wrong" in fault.found


def test_an_unsigned_folder_where_a_shop_is_expected(older: Path, tmp_path: Path) -> None:
    publish(older, tmp_path / "plain")
    check = expect_signature("bench-s", b"k" * 32)
    (fault,) = list_published_faults(tmp_path / "plain", check)
    assert fault.found == "a manifest that is not signed"


@pytest.mark.parametrize("name", ["manifest.json", "index.html"])
def test_a_folder_in_the_place_of_a_file(public: Path, name: str) -> None:
    (public / name).unlink()
    (public / name).mkdir()
    faults = find_faults(public)
    assert [fault.file for fault in faults] == [str(public / name)]
    shutil.rmtree(public)
