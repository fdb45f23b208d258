"""Merge bundles into a shop's folder: first a plan to be shown, then all of it or nothing.

A shop holds a set of revisions and merging is the union of sets, so neither the order of bundles
nor repetition matters. This module decides where notes go and which senders are accepted;
``schema.note.find_newest`` decides which revision of a note counts.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from ...schema.errors import PinfolioError
from ...schema.note import Note, find_newest, find_proposals
from ..errors import Fault
from ..system.folder_changes import change_together
from .bundle_reading import Bundle
from .known_shops import KnownShop, format_known_shops, load_known_shops
from .note_files import (
    ATTACHMENTS,
    format_stored_name,
    inspect_own_notes,
    sort_notes,
    stage_missing_signatures,
    stage_own_notes,
)
from .note_lines import MOST_NOTES, format_lines
from .received_notes import RECEIVED, list_senders, load_received_notes
from .shop_folder import Shop, ShopError
from .signed_notes import has_signatures, remember_signatures, stage_signed_list
from .signing_key import format_fingerprint

ChangeKind = Literal["new", "newer", "same", "withdrawn", "in conflict", "proposed"]


class MergeError(PinfolioError):
    """The bundle is refused; the message gives the reason and the remedy. Nothing was written."""


class OlderBundle(MergeError):  # noqa: N818  raised under this name since 0.1
    """The bundle is older than one that was merged already, so nothing in it is new."""


@dataclass(frozen=True)
class NoteChange:
    """The effect of a bundle on one note."""

    what: ChangeKind
    """Kind of change."""
    note: Note
    """Its newest revision afterwards; in a conflict the last of them, else a new proposal."""
    before: Note | None = None
    """Its newest revision so far; None for a new note."""


@dataclass(frozen=True)
class Plan:
    """The effect of merging, not yet carried out."""

    shop: Shop
    bundles: tuple[Bundle, ...] = ()
    """The bundles to be merged."""
    left_out: tuple[str, ...] = ()
    """The reason for each bundle left out: older than one merged already."""
    coming: tuple[NoteChange, ...] = ()
    """One for each note of each bundle."""
    unknown: dict[str, KnownShop] = field(default_factory=dict)
    """Senders not known before, by handle."""
    known: dict[str, KnownShop] = field(default_factory=dict)
    """All known shops afterwards."""
    added: dict[str, list[Note]] = field(default_factory=dict)
    """Revisions to be added, by the handle of the sender."""
    attached: dict[str, Bundle] = field(default_factory=dict)
    """Attachments to be added, by path within the shop's folder, with the bundle holding them."""
    set_aside: tuple[Fault, ...] = ()
    """Faults of the notes in the folder that do not count, as in ``load_all_notes``."""

    @property
    def is_empty(self) -> bool:
        """Whether merging changes nothing."""
        return not self.added and not self.attached and self.known == load_known_shops(self.shop)

    def counts(self) -> dict[ChangeKind, int]:
        """Return the number of notes of each kind of change."""
        counts: dict[ChangeKind, int] = dict.fromkeys(ChangeKind.__args__, 0)  # type: ignore[attr-defined]
        for one in self.coming:
            counts[one.what] += 1
        return counts


def plan_merge(shop: Shop, bundles: Iterable[Bundle]) -> Plan:
    """Return the effect of merging the bundles, the oldest of each sender first; write nothing.

    Raises MergeError for a bundle of a muted shop or one signed with another key than before,
    OlderBundle when all bundles are older than those merged already.
    """
    ordered = sorted(bundles, key=lambda one: (one.manifest.shop, one.manifest.revisions))
    set_aside: list[Fault] = []
    held = _load_held_revisions(shop, set_aside)
    planned = Plan(shop, tuple(ordered), known=load_known_shops(shop), set_aside=tuple(set_aside))
    for bundle in ordered:
        try:
            _check_sender(planned, bundle)
        except OlderBundle as older:
            planned = replace(planned, left_out=(*planned.left_out, str(older)))
        else:
            planned = _add_bundle(planned, bundle, held)
    if ordered and len(planned.left_out) == len(ordered):
        raise OlderBundle("\n".join(planned.left_out))
    return planned


def apply_plan(planned: Plan, *, accept_new: bool = False) -> None:
    """Carry out a plan; after a crash either all of it is done or none.

    The plan is made again under the folder's lock, as another process may have merged meanwhile.

    Raises MergeError for senders not known before unless ``accept_new``, ShopError when the folder
    cannot be written.
    """
    if planned.is_empty:
        return
    shop = planned.shop
    try:
        with change_together(shop.folder) as staging:
            planned = plan_merge(shop, planned.bundles)
            if planned.unknown and not accept_new:
                raise MergeError(describe_unknown_senders(planned))
            stage_missing_signatures(shop, staging)
            for handle, notes in planned.added.items():
                _write_notes(shop, handle, notes, staging)
            for place, bundle in planned.attached.items():
                _write_file(staging / place, bundle.read_attachment(Path(place).name))
            _write_file(staging / shop.known_shops.name, format_known_shops(planned.known).encode())
    except OSError as error:
        raise ShopError(f"{shop.folder}: the notes cannot be saved: {error.strerror}") from None
    remember_signatures(shop)


def describe_unknown_senders(planned: Plan) -> str:
    """Return a line for each sender not known before: its key and the remedy."""
    return "\n".join(
        f"The shop {handle} is not known here; its key reads {one.fingerprint}."
        " Compare it by telephone, then merge with --accept-new"
        for handle, one in planned.unknown.items()
    )


def compare_revisions(held: Sequence[Note], coming: Sequence[Note]) -> NoteChange:
    """Return the effect of received revisions of one note on those held."""
    known = {note.digest for note in held}
    after = find_newest((*held, *coming))
    last = after[-1]
    before = find_newest(held)[-1] if held else None
    if known.issuperset(note.digest for note in coming):
        return NoteChange("same", last, before)
    if last.withdrawn:
        return NoteChange("withdrawn", last, before)
    # The note itself stays as it is: the sender did not begin it, so its edit is a proposal.
    if held and after == find_newest(held):
        proposals = [n for n in find_proposals((*held, *coming)) if n.digest not in known]
        return NoteChange("proposed", proposals[-1] if proposals else last, before)
    if len(after) > 1:
        return NoteChange("in conflict", last, before)
    return NoteChange("newer" if held else "new", last, before)


def _add_bundle(planned: Plan, bundle: Bundle, held: dict[str, dict[str, Note]]) -> Plan:
    """Return the plan with one more bundle, and add its notes to ``held``."""
    shop, sender = planned.shop, bundle.manifest.shop
    by_id: dict[str, list[Note]] = {}
    for note in bundle.notes:
        by_id.setdefault(note.id, []).append(note)
    coming = [
        compare_revisions(list(held.get(name, {}).values()), came) for name, came in by_id.items()
    ]
    added = [note for note in bundle.notes if note.digest not in held.get(note.id, {})]
    for note in added:
        held.setdefault(note.id, {})[note.digest] = note
    attached = {
        place: bundle
        for note in added
        for one in note.attachments
        if not (
            shop.folder / (place := _locate_in_shop(shop, sender, format_stored_name(one)))
        ).exists()
    }
    known, unknown = _update_senders(planned, bundle)
    return replace(
        planned,
        known=known,
        unknown=unknown,
        coming=(*planned.coming, *coming),
        added=planned.added | ({sender: planned.added.get(sender, []) + added} if added else {}),
        attached=planned.attached | attached,
    )


def _update_senders(
    planned: Plan, bundle: Bundle
) -> tuple[dict[str, KnownShop], dict[str, KnownShop]]:
    """Return the known shops and the new senders after the bundle is merged."""
    manifest = bundle.manifest
    if manifest.shop == planned.shop.handle:
        return planned.known, planned.unknown
    after = planned.known.get(manifest.shop) or KnownShop(manifest.public_key)
    first = manifest.shop not in planned.known
    if bundle.is_complete:
        after = replace(after, revisions=manifest.revisions)
    unknown = planned.unknown | ({manifest.shop: after} if first else {})
    return planned.known | {manifest.shop: after}, unknown


def _check_sender(planned: Plan, bundle: Bundle) -> None:
    """Raise MergeError if a bundle's shop is muted, or its key is not the known one."""
    manifest, path = bundle.manifest, bundle.path
    if manifest.shop == planned.shop.handle:
        known: KnownShop | None = KnownShop(planned.shop.public_key.hex())
    else:
        known = planned.known.get(manifest.shop)
    if known is None:
        return
    if known.public_key != manifest.public_key:
        raise MergeError(_describe_changed_key(bundle, known, planned.shop))
    if known.state == "muted":
        listen = f"pinfolio shops trust {manifest.shop}"
        raise MergeError(f"{path}: {manifest.shop} is muted; to hear it again: {listen}")
    if manifest.revisions < known.revisions:
        counts = f"it has {manifest.revisions} revisions, that one had {known.revisions}"
        older = f"older than a bundle of {manifest.shop} merged already"
        raise OlderBundle(f"{path}: {older} ({counts}): nothing in it can be new")


def _describe_changed_key(bundle: Bundle, known: KnownShop, shop: Shop) -> str:
    manifest = bundle.manifest
    now = format_fingerprint(bytes.fromhex(manifest.public_key))
    whose = "your own shop" if manifest.shop == shop.handle else f"the shop {manifest.shop}"
    return (
        f"{bundle.path}: THE KEY HAS CHANGED. This bundle says it is from {whose}, but is signed"
        f" with another key:\n  known so far  {known.fingerprint}\n  this bundle   {now}\n"
        f"Somebody may be using that name. Ring them up and compare; only when they did make a new"
        f" key, remove [{manifest.shop}] from {shop.known_shops}, and merge again"
    )


def _load_held_revisions(shop: Shop, set_aside: list[Fault]) -> dict[str, dict[str, Note]]:
    """Return every revision in the folder, those of muted shops included, by note and digest."""
    held: dict[str, dict[str, Note]] = {}
    senders = sorted(list_senders(shop))
    received = (load_received_notes(shop, handle, set_aside) for handle in senders)
    # An own note whose file was lost is not held: a bundle that has it brings the file back.
    own = [own.counting for own in inspect_own_notes(shop, set_aside) if own.path.exists()]
    for notes in ([note for note in own if note is not None], *received):
        for note in notes:
            held.setdefault(note.id, {})[note.digest] = note
    return held


def _locate_in_shop(shop: Shop, sender: str, name: str) -> str:
    folder = shop.notes if sender == shop.handle else shop.received / sender
    return (folder / ATTACHMENTS / name).relative_to(shop.folder).as_posix()


def _write_notes(shop: Shop, sender: str, added: list[Note], staging: Path) -> None:
    """Write the sender's notes with those added to the staging folder, and sign them."""
    if sender == shop.handle:
        stage_own_notes(shop, staging, added)
        return
    set_aside: list[Fault] = []
    kept = {note.digest: note for note in load_received_notes(shop, sender, set_aside)}
    notes = sort_notes((kept | {note.digest: note for note in added}).values())
    if len(notes) > MOST_NOTES:
        raise MergeError(f"more than {MOST_NOTES:,} notes of {sender} would be kept here")
    folder = staging / (shop.received / sender).relative_to(shop.folder)
    if set_aside:
        _keep_set_aside(shop.received / sender / RECEIVED, folder)
    _write_file(folder / RECEIVED, b"".join(format_lines(notes)))
    if shop.has_private_key() or has_signatures(shop):
        stage_signed_list(shop, folder, sender, notes)


def _keep_set_aside(path: Path, folder: Path) -> None:
    """Write a copy of the received notes, some of which do not count, to ``folder``."""
    with suppress(FileNotFoundError):
        data = path.read_bytes()
        _write_file(folder / f"set-aside-{hashlib.sha256(data).hexdigest()[:8]}.jsonl", data)


def _write_file(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
