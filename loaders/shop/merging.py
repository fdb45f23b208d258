"""Bundles merged into a shop's folder: first the plan, which is shown, then all of it or nothing.

What a shop holds is a set of revisions, and merging is the union of sets: so the order of bundles
does not matter, nor does merging one twice. Only where notes go, and whether a sender is believed,
is decided here; what a note says after all its revisions is ``schema.note.find_newest``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from ...schema.errors import PinfolioError
from ...schema.note import Note, find_newest
from ..system.folder_changes import change_together
from .bundle_reading import Bundle
from .known_shops import KnownShop, as_toml, known_shops
from .note_files import (
    ATTACHMENTS,
    RECEIVED,
    in_order,
    kept_as,
    own_notes,
    received_notes,
    senders,
    write_own,
)
from .note_lines import MOST_NOTES, write_lines
from .shop_folder import Shop, ShopError
from .signing_key import fingerprint

What = Literal["new", "newer", "same", "withdrawn", "in conflict"]


class MergeError(PinfolioError):
    """A bundle that may not come in; the message says why and what to do. Nothing was written."""


class OlderBundle(MergeError):  # noqa: N818  it is what is raised, and reads as such
    """A bundle older than one that was merged already; nothing in it can be new."""


@dataclass(frozen=True)
class Coming:
    """What a bundle does to one note."""

    what: What
    note: Note
    """What the note says afterwards; the last of its edits where they are in conflict."""


@dataclass(frozen=True)
class Plan:
    """What merging would do, worked out and not yet done."""

    shop: Shop
    bundles: tuple[Bundle, ...] = ()
    """What is to be merged."""
    left_out: tuple[str, ...] = ()
    """Why a bundle is not among them: older than one merged already."""
    coming: tuple[Coming, ...] = ()
    """One for each note of each bundle."""
    unknown: dict[str, KnownShop] = field(default_factory=dict)
    """Senders met for the first time, by handle."""
    known: dict[str, KnownShop] = field(default_factory=dict)
    """All known shops afterwards."""
    added: dict[str, list[Note]] = field(default_factory=dict)
    """Revisions to be added, by the handle of the sender."""
    attached: dict[str, Bundle] = field(default_factory=dict)
    """Attachments to be added, by their path within the shop's folder, and who brings them."""

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to do."""
        return not self.added and not self.attached and self.known == known_shops(self.shop)

    def counts(self) -> dict[What, int]:
        """How many notes are new, newer, same, withdrawn, in conflict."""
        counts: dict[What, int] = dict.fromkeys(What.__args__, 0)  # type: ignore[attr-defined]
        for one in self.coming:
            counts[one.what] += 1
        return counts


def plan(shop: Shop, bundles: Iterable[Bundle]) -> Plan:
    """What merging the bundles would do, the oldest of each sender first; writes nothing.

    Raises MergeError for a bundle that may not come in: of a muted shop, or signed with another
    key than its shop had; and when all are older than what was merged already.
    """
    ordered = sorted(bundles, key=lambda one: (one.manifest.shop, one.manifest.revisions))
    planned, held = Plan(shop, tuple(ordered), known=known_shops(shop)), _held(shop)
    for bundle in ordered:
        try:
            _check_sender(planned, bundle)
        except OlderBundle as older:
            planned = replace(planned, left_out=(*planned.left_out, str(older)))
        else:
            planned = _with(planned, bundle, held)
    if ordered and len(planned.left_out) == len(ordered):
        raise OlderBundle("\n".join(planned.left_out))
    return planned


def apply(planned: Plan, *, accept_new: bool = False) -> None:
    """Do what was planned: after a crash either all of it is done or none.

    It is planned anew once nobody else changes the folder, as others may have merged meanwhile.
    ``accept_new`` says that senders met for the first time are to be believed. Raises MergeError
    without it when there are any, ShopError when the folder cannot be written.
    """
    if planned.is_empty:
        return
    shop = planned.shop
    try:
        with change_together(shop.folder) as new:
            planned = plan(shop, planned.bundles)
            if planned.unknown and not accept_new:
                raise MergeError(introduction(planned))
            for handle, notes in planned.added.items():
                _write_notes(shop, handle, notes, new)
            for place, bundle in planned.attached.items():
                _write(new / place, bundle.attachment(Path(place).name))
            _write(new / shop.known_shops.name, as_toml(planned.known).encode())
    except OSError as refused:
        raise ShopError(f"{shop.folder}: the notes cannot be kept: {refused.strerror}") from None


def introduction(planned: Plan) -> str:
    """What to do before senders met for the first time are believed: a line for each."""
    return "\n".join(
        f"The shop {handle} is not known here; its key reads {one.fingerprint}."
        " Compare it by telephone, then merge with --accept-new"
        for handle, one in planned.unknown.items()
    )


def compared(held: Sequence[Note], coming: Sequence[Note]) -> Coming:
    """What the revisions of one note that come do to those that are held."""
    known = {note.digest for note in held}
    after = find_newest((*held, *coming))
    last = after[-1]
    if known.issuperset(note.digest for note in coming):
        return Coming("same", last)
    if last.withdrawn:
        return Coming("withdrawn", last)
    if len(after) > 1:
        return Coming("in conflict", last)
    return Coming("newer" if held else "new", last)


def _with(planned: Plan, bundle: Bundle, held: dict[str, dict[str, Note]]) -> Plan:
    """The plan with one bundle more; ``held`` grows by its notes."""
    shop, sender = planned.shop, bundle.manifest.shop
    by_id: dict[str, list[Note]] = {}
    for note in bundle.notes:
        by_id.setdefault(note.id, []).append(note)
    coming = [compared(list(held.get(name, {}).values()), came) for name, came in by_id.items()]
    added = [note for note in bundle.notes if note.digest not in held.get(note.id, {})]
    for note in added:
        held.setdefault(note.id, {})[note.digest] = note
    attached = {
        place: bundle
        for note in added
        for one in note.attachments
        if not (shop.folder / (place := _place(shop, sender, kept_as(one)))).exists()
    }
    known, unknown = _senders(planned, bundle)
    return replace(
        planned,
        known=known,
        unknown=unknown,
        coming=(*planned.coming, *coming),
        added=planned.added | ({sender: planned.added.get(sender, []) + added} if added else {}),
        attached=planned.attached | attached,
    )


def _senders(planned: Plan, bundle: Bundle) -> tuple[dict[str, KnownShop], dict[str, KnownShop]]:
    """The shops known, and those met for the first time, once the bundle has come in."""
    said = bundle.manifest
    if said.shop == planned.shop.handle:
        return planned.known, planned.unknown
    after = planned.known.get(said.shop) or KnownShop(said.public_key)
    first = said.shop not in planned.known
    if bundle.whole:
        after = replace(after, revisions=said.revisions)
    unknown = planned.unknown | ({said.shop: after} if first else {})
    return planned.known | {said.shop: after}, unknown


def _check_sender(planned: Plan, bundle: Bundle) -> None:
    said, path = bundle.manifest, bundle.path
    if said.shop == planned.shop.handle:
        known: KnownShop | None = KnownShop(planned.shop.public_key.hex())
    else:
        known = planned.known.get(said.shop)
    if known is None:
        return
    if known.public_key != said.public_key:
        raise MergeError(_changed_key(bundle, known, planned.shop))
    if known.state == "muted":
        listen = f"pinfolio shops trust {said.shop}"
        raise MergeError(f"{path}: {said.shop} is muted; to hear it again: {listen}")
    if said.revisions < known.revisions:
        counts = f"it has {said.revisions} revisions, that one had {known.revisions}"
        older = f"older than a bundle of {said.shop} merged already"
        raise OlderBundle(f"{path}: {older} ({counts}): nothing in it can be new")


def _changed_key(bundle: Bundle, known: KnownShop, shop: Shop) -> str:
    said = bundle.manifest
    now = fingerprint(bytes.fromhex(said.public_key))
    whose = "your own shop" if said.shop == shop.handle else f"the shop {said.shop}"
    return (
        f"{bundle.path}: THE KEY HAS CHANGED. This bundle says it is from {whose}, but is signed"
        f" with another key:\n  known so far  {known.fingerprint}\n  this bundle   {now}\n"
        f"Somebody may be using that name. Ring them up and compare; only when they did make a new"
        f" key, remove [{said.shop}] from {shop.known_shops}, and merge again"
    )


def _held(shop: Shop) -> dict[str, dict[str, Note]]:
    """Every revision in the folder, of muted shops too, by note and digest."""
    held: dict[str, dict[str, Note]] = {}
    received = (received_notes(shop, handle) for handle in sorted(senders(shop)))
    for notes in (own_notes(shop), *received):
        for note in notes:
            held.setdefault(note.id, {})[note.digest] = note
    return held


def _place(shop: Shop, sender: str, name: str) -> str:
    folder = shop.notes if sender == shop.handle else shop.received / sender
    return (folder / ATTACHMENTS / name).relative_to(shop.folder).as_posix()


def _write_notes(shop: Shop, sender: str, added: list[Note], new: Path) -> None:
    """The sender's notes with those added, in the new folder; the shop's own as single files."""
    if sender == shop.handle:
        write_own(new / shop.notes.relative_to(shop.folder), added)
        return
    kept = {note.digest: note for note in (*received_notes(shop, sender), *added)}
    notes = in_order(kept.values())
    if len(notes) > MOST_NOTES:
        raise MergeError(f"more than {MOST_NOTES:,} notes of {sender} would be kept here")
    path = new / (shop.received / sender / RECEIVED).relative_to(shop.folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.writelines(write_lines(notes))


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
