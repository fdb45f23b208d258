"""Attachments of the demonstration's notes: pictures fitted to the page, captures drawn."""

from __future__ import annotations

import pytest
from pinfolio.loaders import Folio
from pinfolio.plugins.cards import attached_captures
from pinfolio.plugins.cards.attached_captures import AttachmentView, view_attachments
from pinfolio.plugins.notes.note_view import group_revisions


@pytest.fixture
def views(demo: Folio) -> list[AttachmentView]:
    notes = group_revisions(demo.latest_notes(500))
    return [view for of_note in view_attachments(demo, notes).values() for view in of_note]


def test_a_picture_fits_320_by_240_pixels_with_its_proportions(
    demo: Folio, views: list[AttachmentView]
) -> None:
    pictures = [view for view in views if view.size is not None]
    sizes = demo.attachment_sizes({view.attachment.sha256 for view in pictures})
    assert pictures
    for view in pictures:
        size = sizes[view.attachment.sha256]
        assert size is not None
        assert view.size is not None
        scale = min(320 / size[0], 240 / size[1], 1)
        assert view.size == (round(size[0] * scale), round(size[1] * scale))


@pytest.mark.parametrize(
    ("size", "fitted"),
    [
        ((320, 240), (320, 240)),
        ((100, 50), (100, 50)),
        ((640, 240), (320, 120)),
        ((640, 960), (160, 240)),
        ((10_000, 2), (320, 1)),
        ((2, 10_000), (1, 240)),
    ],
)
def test_a_small_picture_is_not_enlarged(size: tuple[int, int], fitted: tuple[int, int]) -> None:
    assert attached_captures._fit_size(*size) == fitted


def test_a_capture_is_drawn_with_its_measurements(views: list[AttachmentView]) -> None:
    drawn = [view for view in views if view.svg is not None]
    assert drawn
    assert all(view.is_held and view.size is None for view in drawn)
    assert all(view.remarks[0].startswith("Measured: ") for view in drawn)
    assert all('class="scope-captured"' in (view.svg or "") for view in drawn)


def test_a_capture_is_compared_once(
    demo: Folio, views: list[AttachmentView], monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("compared again")

    monkeypatch.setattr(attached_captures, "check_capture", refuse)
    notes = group_revisions(demo.latest_notes(500))
    again = [view for of_note in view_attachments(demo, notes).values() for view in of_note]
    assert again == views


def test_beyond_the_most_captures_are_only_linked(
    demo: Folio, views: list[AttachmentView], monkeypatch: pytest.MonkeyPatch
) -> None:
    captures = sum(view.svg is not None for view in views)
    assert captures
    for most in range(captures + 1):
        monkeypatch.setattr(attached_captures, "MOST_DRAWN", most)
        notes = group_revisions(demo.latest_notes(500))
        shown = [view for of_note in view_attachments(demo, notes).values() for view in of_note]
        assert sum(view.svg is not None for view in shown) == most


def test_a_page_draws_eight_captures_of_a_megabyte() -> None:
    assert attached_captures.MOST_DRAWN == 8
    assert attached_captures._MOST_SAMPLED_BYTES == 1_000_000


def test_a_capture_of_more_bytes_is_only_linked(
    demo: Folio, views: list[AttachmentView], monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = [view for view in views if view.svg is not None]
    held = [demo.attachment(view.attachment.sha256) for view in drawn]
    largest = max(len(one.data) for one in held if one is not None)
    notes = group_revisions(demo.latest_notes(500))
    for most, count in ((largest, len(drawn)), (largest - 1, len(drawn) - 1)):
        monkeypatch.setattr(attached_captures, "_KEPT", {})
        monkeypatch.setattr(attached_captures, "_MOST_SAMPLED_BYTES", most)
        shown = [view for of_note in view_attachments(demo, notes).values() for view in of_note]
        assert sum(view.svg is not None for view in shown) == count


def test_each_drawn_capture_counts_once(demo: Folio, monkeypatch: pytest.MonkeyPatch) -> None:
    note, capture = next(
        (view.note, attachment)
        for view in group_revisions(demo.latest_notes(500))
        for attachment in view.note.attachments
        if demo.attachment_sizes({attachment.sha256}).get(attachment.sha256, ()) is None
    )
    monkeypatch.setattr(attached_captures, "MOST_DRAWN", 3)
    drawer = attached_captures._CaptureDrawer(demo)
    drawn = [drawer.draw_over_expected(note, capture).svg is not None for _ in range(5)]
    assert drawn == [True, True, True, False, False]


def test_a_caption_stands_for_the_name(views: list[AttachmentView]) -> None:
    for view in views:
        assert view.caption == (view.attachment.caption or view.attachment.name).rstrip(".")


def test_a_chip_page_links_captures_to_the_card_that_draws_them(demo: Folio) -> None:
    notes = group_revisions(demo.latest_notes(500))
    by_note = view_attachments(demo, notes, draws_captures=False)
    captures = [view for of_note in by_note.values() for view in of_note if view.size is None]
    assert captures
    assert not [view for view in captures if view.svg]
    told = {remark for view in captures for remark in view.remarks}
    assert any(remark.startswith("Drawn over the expected trace on the card of pin ")
               for remark in told)  # fmt: skip
