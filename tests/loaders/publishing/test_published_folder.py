"""A folio laid out for any web server: whole at every instant, its files named by their content."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders import FolioError
from pinfolio.loaders.folio.build import build_folio
from pinfolio.loaders.publishing.download_signature import expect_signature
from pinfolio.loaders.publishing.download_source import Source
from pinfolio.loaders.publishing.fetching import FetchError, fetch_folio
from pinfolio.loaders.publishing.manifest import FolioManifest, read_manifest
from pinfolio.loaders.publishing.published_folder import Pages, PublishError, publish
from pinfolio.loaders.shop.shop_folder import Shop, init_shop


@pytest.fixture
def folio(tmp_path: Path) -> Path:
    path = tmp_path / "folio.db"
    build_folio(chip_files()[:2], path)
    return path


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    path = tmp_path / "newer.db"
    build_folio(chip_files()[:3], path)
    return path


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "public"


def make_pages(words: str, hash_page_sources: str = "0" * 64) -> Pages:
    def write(folio: Path, folder: Path) -> None:
        (folder / "chip").mkdir()
        (folder / "index.html").write_text(words)
        (folder / "chip" / "one.html").write_text(words * 2)

    return Pages(write, hash_page_sources)


def manifest_in(folder: Path) -> FolioManifest:
    return read_manifest((folder / "manifest.json").read_bytes(), "manifest.json")


def list_names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name != ".publishing")


def take_snapshot(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Inode and bytes of every file."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {
        path.relative_to(folder).as_posix(): (path.stat().st_ino, path.read_bytes())
        for path in files
    }


def test_the_folio_is_there_by_its_digest_and_the_manifest_says_so(folio: Path, out: Path) -> None:
    made = publish(folio, out).manifest
    data = folio.read_bytes()
    sha256 = hashlib.sha256(data).hexdigest()
    assert (out / f"folio-{sha256}.db").read_bytes() == data
    assert manifest_in(out) == made
    assert (made.folio.sha256, made.folio.size) == (sha256, len(data))
    assert made.chips == 2
    assert list_names(out) == sorted([f"folio-{sha256}.db", "index.html", "manifest.json"])
    assert (out / "manifest.json").stat().st_size < 1_000


def test_pieces_are_those_of_the_file(
    folio: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = 2**16
    monkeypatch.setattr("pinfolio.loaders.publishing.manifest.PIECE_BYTES", size)
    made, data = publish(folio, out).manifest.folio, folio.read_bytes()
    places = range(0, len(data), size)
    assert len(places) > 1
    assert made.pieces == tuple(
        hashlib.sha256(data[place : place + size]).hexdigest() for place in places
    )


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="no sha256sum here")
def test_pages_verify_with_the_common_tool(folio: Path, out: Path) -> None:
    """GNU coreutils reads the list of digests, whose own digest names the folder."""
    made = publish(folio, out, make_pages("hello")).manifest.pages
    assert made is not None
    folder = out / made.name
    subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=folder, check=True)
    listed = subprocess.run(
        ["sha256sum", "SHA256SUMS"], cwd=folder, check=True, capture_output=True
    )
    assert listed.stdout.decode().split()[0] == made.sha256
    assert (made.files, made.size) == (2, 15)
    assert f'href="{made.name}/index.html"' in (out / "index.html").read_text()


def test_again_changes_nothing_and_draws_nothing(folio: Path, out: Path) -> None:
    publish(folio, out, make_pages("hello"))
    before = take_snapshot(out)

    def never(folio: Path, folder: Path) -> None:
        raise AssertionError("drawn again")

    done = publish(folio, out, Pages(never, "0" * 64))
    assert not done.is_new
    assert take_snapshot(out) == before


def test_the_same_folio_is_drawn_anew_by_another_program(folio: Path, out: Path) -> None:
    publish(folio, out, make_pages("one", "1" * 64))
    made = publish(folio, out, make_pages("two", "2" * 64))
    assert made.is_new
    assert made.manifest.pages is not None
    assert (out / made.manifest.pages.name / "index.html").read_text() == "two"


def test_a_new_edition_leaves_the_old_until_pruned(folio: Path, newer: Path, out: Path) -> None:
    first = publish(folio, out, make_pages("one"))
    before = take_snapshot(out)
    second = publish(newer, out, make_pages("two"))
    assert second.is_new
    changed = {name for name, held in before.items() if take_snapshot(out)[name] != held}
    assert changed == {"index.html", "manifest.json"}
    gone = publish(newer, out, make_pages("two"), prune=True).removed
    assert first.manifest.pages is not None
    assert set(gone) == {first.manifest.folio.name, first.manifest.pages.name}
    assert first.manifest.folio.name not in list_names(out)
    assert second.manifest.folio.name in list_names(out)


def test_pruning_takes_only_what_publishing_wrote(folio: Path, out: Path) -> None:
    out.mkdir()
    (out / "letter.txt").write_text("mine")
    (out / "folio-holiday.db").write_text("mine")
    assert publish(folio, out, prune=True).removed == ()
    assert {"letter.txt", "folio-holiday.db"} <= set(list_names(out))


def test_a_copy_that_was_damaged_is_put_right(folio: Path, out: Path) -> None:
    made = publish(folio, out, make_pages("hello")).manifest
    assert made.pages is not None
    (out / made.folio.name).write_bytes(b"x" * made.folio.size)
    (out / made.pages.name / "index.html").write_text("changed")
    publish(folio, out, make_pages("hello"))
    assert (out / made.folio.name).read_bytes() == folio.read_bytes()
    assert (out / made.pages.name / "index.html").read_text() == "hello"


@pytest.mark.parametrize("stops_at", ["drawing", "manifest"])
def test_what_stops_half_way_leaves_the_old_edition(
    folio: Path, newer: Path, out: Path, monkeypatch: pytest.MonkeyPatch, stops_at: str
) -> None:
    publish(folio, out, make_pages("one"))
    before = (out / "manifest.json").read_bytes()

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    pages = make_pages("two")
    if stops_at == "drawing":
        pages = Pages(stopped, "0" * 64)
    else:
        monkeypatch.setattr(
            "pinfolio.loaders.publishing.published_folder.write_atomically", stopped
        )
    with pytest.raises(KeyboardInterrupt):
        publish(newer, out, pages)
    monkeypatch.undo()
    (out / ".manifest.json.0123abcd.new").write_text("{")  # as a kill while it is written leaves
    assert (out / "manifest.json").read_bytes() == before
    assert fetch_folio(Source(str(out)), out.parent / "here.db").manifest.chips == 2
    publish(newer, out, make_pages("two"), prune=True)
    assert not [name for name in list_names(out) if ".new" in name]
    assert manifest_in(out).chips == 3


def test_a_disk_without_room_leaves_the_old_edition(
    folio: Path, newer: Path, out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(folio, out)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pinfolio.loaders.publishing.published_folder.move_into_place", full)
    with pytest.raises(PublishError, match="No space left on device"):
        publish(newer, out)
    monkeypatch.undo()
    assert manifest_in(out).chips == 2


def test_two_cannot_publish_at_once(folio: Path, out: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    out.mkdir()
    with (out / ".publishing").open("a") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(PublishError, match="another process is publishing"):
            publish(folio, out)


def test_what_is_no_whole_folio_is_not_published(folio: Path, out: Path) -> None:
    folio.write_bytes(folio.read_bytes()[:-1])
    with pytest.raises(FolioError, match="cut short"):
        publish(folio, out)
    assert not out.exists()


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return init_shop(tmp_path / "shop", "bench-a")


def test_a_signed_folio_is_taken_from_its_shop_only(
    folio: Path, out: Path, shop: Shop, tmp_path: Path
) -> None:
    publish(folio, out, shop=shop)
    here, source = tmp_path / "here.db", Source(str(out))
    fetch_folio(source, here, check_signature=expect_signature("bench-a", shop.public_key))
    assert here.read_bytes() == folio.read_bytes()
    other = init_shop(tmp_path / "other", "bench-a")
    with pytest.raises(FetchError, match="signature is wrong"):
        fetch_folio(source, here, check_signature=expect_signature("bench-a", other.public_key))
    with pytest.raises(FetchError, match="published by bench-a, not by bench-b"):
        fetch_folio(source, here, check_signature=expect_signature("bench-b", shop.public_key))


def test_a_manifest_changed_after_signing_is_refused(
    folio: Path, out: Path, shop: Shop, tmp_path: Path
) -> None:
    publish(folio, out, shop=shop)
    (signature,) = out.glob("signature-*")
    manifest = json.loads((out / "manifest.json").read_bytes()) | {"chips": 999}
    said = json.dumps(manifest).encode()
    (out / "manifest.json").write_bytes(said)
    expected = expect_signature("bench-a", shop.public_key)
    with pytest.raises(FetchError, match="is not signed"):
        fetch_folio(Source(str(out)), tmp_path / "here.db", check_signature=expected)
    signature.rename(out / f"signature-{hashlib.sha256(said).hexdigest()}")
    with pytest.raises(FetchError, match="signature is wrong"):
        fetch_folio(Source(str(out)), tmp_path / "here.db", check_signature=expected)


def test_an_unsigned_folio_is_refused_where_a_signature_is_asked_for(
    folio: Path, out: Path, shop: Shop, tmp_path: Path
) -> None:
    publish(folio, out)
    with pytest.raises(FetchError, match="is not signed"):
        fetch_folio(
            Source(str(out)),
            tmp_path / "here.db",
            check_signature=expect_signature("bench-a", shop.public_key),
        )
