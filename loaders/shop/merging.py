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

from ...schema.note import Note, find_newest, find_proposals
from ..errors import Fault
from ..keys.key_statements import Statement
from ..keys.statement_files import KEYS, stage_statements
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
from .note_lists import load_lists
from .received_notes import (
    RECEIVED,
    list_senders,
    load_notes_as_received,
    load_received_notes,
)
from .senders import MergeError, Sender, identify_senders
from .shop_folder import Shop, ShopError
from .signed_notes import has_signatures, remember_signatures, stage_signed_list

ChangeKind = Literal["new", "newer", "same", "withdrawn", "in conflict", "proposed"]


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
    statements: dict[str, tuple[Statement, ...]] = field(default_factory=dict)
    """New statements about keys, by the name here of the shop; ``""`` is the own shop."""
    changed_keys: dict[str, KnownShop] = field(default_factory=dict)
    """Known shops that changed their key, by name; they are no longer trusted."""
    name: str | None = None
    """The name that the one new sender gets here; None leaves it its handle."""
    set_aside: tuple[Fault, ...] = ()
    """Faults of the notes in the folder that do not count, as in ``load_all_notes``."""

    @property
    def is_empty(self) -> bool:
        """Whether merging changes nothing."""
        if self.added or self.attached or self.statements:
            return False
        return format_known_shops(self.known) == format_known_shops(load_known_shops(self.shop))

    def counts(self) -> dict[ChangeKind, int]:
        """Return the number of notes of each kind of change."""
        counts: dict[ChangeKind, int] = dict.fromkeys(ChangeKind.__args__, 0)  # type: ignore[attr-defined]
        for one in self.coming:
            counts[one.what] += 1
        return counts


def plan_merge(shop: Shop, bundles: Iterable[Bundle], name: str | None = None) -> Plan:
    """Return the effect of merging the bundles, the oldest of each signer first; write nothing.

    ``name`` is the name here of the only sender not known yet; None leaves it its handle.

    Raises MergeError for a bundle of a muted shop, one whose key may not sign for its shop, and
    one of a shop whose name another has here; OlderBundle when all bundles are older than those
    of the same device merged already and bring nothing new.
    """
    ordered = sorted(bundles, key=_date_bundle)
    set_aside: list[Fault] = []
    held = _load_held_revisions(shop, set_aside)
    known = load_known_shops(shop)
    senders = identify_senders(shop, known, ordered, name)
    planned = _plan_senders(Plan(shop, tuple(ordered), known=known, name=name), senders)
    planned = replace(planned, set_aside=tuple(set_aside))
    for bundle in ordered:
        try:
            planned = _add_bundle(planned, bundle, senders[bundle.manifest.first_key], held)
        except OlderBundle as older:
            planned = replace(planned, left_out=(*planned.left_out, str(older)))
    if ordered and len(planned.left_out) == len(ordered) and not planned.statements:
        raise OlderBundle("\n".join(planned.left_out))
    return planned


def _date_bundle(bundle: Bundle) -> tuple[str, str, str, int]:
    """Return the sort key of a bundle: its shop and key, then its age."""
    manifest = bundle.manifest
    return manifest.shop, manifest.first_key, manifest.public_key, manifest.revisions


def _plan_senders(planned: Plan, senders: dict[str, Sender]) -> Plan:
    """Return the plan with the senders of its bundles, before any of their notes."""
    others = {one.name: one for one in senders.values() if not one.is_own}
    return replace(
        planned,
        known=planned.known | {name: one.known for name, one in others.items()},
        unknown={name: one.known for name, one in others.items() if one.is_new},
        changed_keys={name: one.known for name, one in others.items() if one.has_changed_key},
        statements={
            "" if one.is_own else one.name: one.new_statements
            for one in senders.values()
            if one.new_statements
        },
    )


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
            planned = plan_merge(shop, planned.bundles, planned.name)
            if planned.unknown and not accept_new:
                raise MergeError(describe_unknown_senders(planned))
            stage_missing_signatures(shop, staging)
            for handle, notes in planned.added.items():
                _write_notes(shop, handle, notes, staging)
            for place, bundle in planned.attached.items():
                _write_file(staging / place, bundle.read_attachment(Path(place).name))
            for sender, statements in planned.statements.items():
                folder = staging / "received" / sender if sender else staging
                stage_statements(folder / KEYS, statements)
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


def _add_bundle(
    planned: Plan, bundle: Bundle, sender: Sender, held: dict[str, dict[str, Note]]
) -> Plan:
    """Return the plan with one more bundle, and add its notes to ``held``.

    Raises OlderBundle.
    """
    shop, name = planned.shop, sender.name
    by_id: dict[str, list[Note]] = {}
    for note in bundle.notes:
        by_id.setdefault(note.id, []).append(note.attribute(name))
    coming = [
        compare_revisions(list(held.get(id_, {}).values()), came) for id_, came in by_id.items()
    ]
    added = [note for note in bundle.notes if note.digest not in held.get(note.id, {})]
    if not added and not sender.is_own:
        _refuse_older(planned.known[name], name, bundle)
    for note in added:
        held.setdefault(note.id, {})[note.digest] = note.attribute(name)
    attached = {
        place: bundle
        for note in added
        for one in note.attachments
        if not (
            shop.folder / (place := _locate_in_shop(shop, name, format_stored_name(one)))
        ).exists()
    }
    return replace(
        planned,
        known=_record_bundle(planned.known, name, bundle, sender),
        coming=(*planned.coming, *coming),
        added=planned.added | ({name: planned.added.get(name, []) + added} if added else {}),
        attached=planned.attached | attached,
    )


def _record_bundle(
    known: dict[str, KnownShop], name: str, bundle: Bundle, sender: Sender
) -> dict[str, KnownShop]:
    """Return the known shops after a bundle is merged; only a complete one says how old it is."""
    if sender.is_own or not bundle.is_complete:
        return known
    manifest = bundle.manifest
    return known | {name: known[name].record_bundle(manifest.public_key, manifest.revisions)}


def _refuse_older(known: KnownShop, name: str, bundle: Bundle) -> None:
    """Raise OlderBundle for a bundle older than one merged already that the same key signed."""
    manifest = bundle.manifest
    merged = known.count_revisions(manifest.public_key)
    if manifest.revisions < merged:
        counts = f"it has {manifest.revisions} revisions, that one had {merged}"
        older = f"older than a bundle of {name} merged already"
        raise OlderBundle(f"{bundle.path}: {older} ({counts}): nothing in it is new")


def _load_held_revisions(shop: Shop, set_aside: list[Fault]) -> dict[str, dict[str, Note]]:
    """Return every revision in the folder, those of muted shops included, by note and digest."""
    held: dict[str, dict[str, Note]] = {}
    senders = sorted(list_senders(shop))
    received = (load_received_notes(shop, handle, set_aside) for handle in senders)
    # An own note whose file was lost is not held: a bundle that has it brings the file back.
    own = [own.counting for own in inspect_own_notes(shop, set_aside) if own.path.exists()]
    lists = load_lists(shop, set_aside)
    for notes in ([note for note in own if note is not None], lists, *received):
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
    kept = {note.digest: note for note in load_notes_as_received(shop, sender, set_aside)}
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
