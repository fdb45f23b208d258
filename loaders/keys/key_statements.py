"""Judge the statements that a shop signs about its keys: devices, rotations, revocations.

A shop is its first key, not its handle. The laws, each a property test of its own:

authorship   Only a shop key counts: the first key, or one that rotations lead to from it. A
             statement signed by any other key, or changed after it was signed, changes nothing.
devices      A device may sign while a certificate by the current shop key names it.
rotation     A rotation ends the key before: it signs nothing new, and its certificates end with
             it. Of two rotations of one key the one known earlier counts; without an earlier one
             neither does, and the shop has no current key.
revocation   A revoked key never signs again, in whatever order the statements come.
replay       Statements are a set that only grows, so an older set takes nothing back.

A certificate that a device signs for itself is a request: it waits for the shop's key.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Final, Literal

from pydantic import StringConstraints

from ...schema.model import Model
from ...schema.note import Day, Digest, Handle
from .signing_key import derive_public_key, is_signed, sign

STATEMENT_FORMAT: Final = "pinfolio statement 1"
MOST_STATEMENTS: Final = 1_000
"""Of one shop; a shop with ten devices that are replaced each year makes a hundred in ten years."""

StatementKind = Literal["device", "rotation", "revocation"]
Signature = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{128}$")]


class Statement(Model):
    """One signed statement of a shop about one key."""

    file_format: Literal["pinfolio statement 1"] = "pinfolio statement 1"
    kind: StatementKind
    """``device`` certifies a key, ``rotation`` makes it the shop's key, ``revocation`` ends it."""
    shop_key: Digest
    """The shop's first key, which names the shop."""
    key: Digest
    """The key that the statement is about."""
    name: Handle
    """Name of the device, for people; of a rotation, the shop's handle."""
    date: Day
    signed_by: Digest
    """The key that signs the statement."""
    signature: Signature
    """Ed25519 (RFC 8032) over the format, a newline and the document without signature."""

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the statement in its one spelling."""
        return hashlib.sha256(self.document().encode()).hexdigest()

    @cached_property
    def is_signed(self) -> bool:
        """Whether the key in ``signed_by`` signed exactly this statement."""
        signature = bytes.fromhex(self.signature)
        return is_signed(bytes.fromhex(self.signed_by), signature, _format_signed_text(self))

    @property
    def is_request(self) -> bool:
        """Whether a device certifies itself, and so asks to be certified."""
        return self.kind == "device" and self.signed_by == self.key

    def document(self) -> str:
        """Return the statement as JSON in its one spelling: fields in order, no blanks."""
        return self.model_dump_json()


def _format_signed_text(statement: Statement) -> bytes:
    document = statement.model_dump_json(exclude={"signature"})
    return f"{STATEMENT_FORMAT}\n{document}".encode()


def sign_statement(
    private: bytes, kind: StatementKind, shop_key: str, key: str, name: str, day: str
) -> Statement:
    """Return a statement about ``key``, signed with a private key of 32 bytes."""
    unsigned = Statement(
        kind=kind, shop_key=shop_key, key=key, name=name, date=day,
        signed_by=derive_public_key(private).hex(), signature="0" * 128,
    )  # fmt: skip
    signature = sign(private, _format_signed_text(unsigned)).hex()
    return Statement(**unsigned.model_dump() | {"signature": signature})


@dataclass(frozen=True)
class ShopKeys:
    """The keys of one shop, as its statements have them."""

    chain: tuple[str, ...]
    """The shop's keys from the first to the current one."""
    rotations: tuple[Statement, ...] = ()
    """The rotations that lead from each key of the chain to the next."""
    devices: tuple[Statement, ...] = ()
    """The certificate of each device that may sign."""
    revocations: tuple[Statement, ...] = ()
    waiting: tuple[Statement, ...] = ()
    """Requests of devices that are not certified."""
    rivals: tuple[Statement, ...] = ()
    """Rotations that contradict the chain, or each other."""
    is_disputed: bool = False
    """Whether two rotations contradict each other, so that no key is current."""

    @property
    def current(self) -> str | None:
        """The shop's key now; None while it is disputed, or once it is revoked."""
        key = self.chain[-1]
        return None if self.is_disputed or key in self._revoked else key

    @cached_property
    def signers(self) -> tuple[str, ...]:
        """The keys that may sign: the current one, then those of the devices."""
        return () if self.current is None else (self.current, *(s.key for s in self.devices))

    @property
    def counting(self) -> tuple[Statement, ...]:
        """The statements that others need to judge the shop's keys."""
        return (*self.rotations, *self.devices, *self.revocations)

    def explain_refusal(self, key: str) -> str:
        """Return why a key may not sign for the shop; empty if it may.

        The reasons are tried from the most definite to the most general.
        """
        if key in self.signers:
            return ""
        for statement in self.revocations:
            if statement.key == key:
                return f"the device {statement.name} was revoked on {statement.date}"
        for statement in self.rotations:
            if statement.signed_by == key:
                return f"the shop changed this key for another on {statement.date}"
        if self.is_disputed:
            return "the shop's key was changed twice, and the two changes contradict each other"
        for statement in self.waiting:
            if statement.key == key:
                return f"the device {statement.name} is not certified by the shop's key yet"
        return "the shop's key does not certify this key"

    @cached_property
    def _revoked(self) -> frozenset[str]:
        return frozenset(statement.key for statement in self.revocations)


def judge_keys(
    shop_key: str, statements: Iterable[Statement], known_earlier: Iterable[Statement] = ()
) -> ShopKeys:
    """Return the keys of the shop whose first key is ``shop_key``, in the laws of this module.

    ``known_earlier`` are statements accepted before; of rotations of one key they decide.
    """
    earlier = _index_signed(known_earlier, shop_key)
    signed = _index_signed(statements, shop_key) | earlier
    # In the order of digests, so that every computer comes to the same keys.
    ordered = [signed[digest] for digest in sorted(signed)]
    rotations, rivals, is_disputed = _follow_rotations(shop_key, ordered, earlier)
    chain = (shop_key, *(rotation.key for rotation in rotations))
    # Any key that the shop has had may revoke; only its current one certifies devices.
    revocations = [s for s in ordered if s.kind == "revocation" and s.signed_by in chain]
    unusable_keys = {revocation.key for revocation in revocations}.union(chain)
    devices = [
        s
        for s in ordered
        if s.kind == "device" and s.signed_by == chain[-1] and s.key not in unusable_keys
    ]
    settled_keys = unusable_keys | {device.key for device in devices}
    waiting = [s for s in ordered if s.is_request and s.key not in settled_keys]
    return ShopKeys(
        chain, rotations, _keep_first(devices), _keep_first(revocations), _keep_first(waiting),
        rivals, is_disputed,
    )  # fmt: skip


def _index_signed(statements: Iterable[Statement], shop_key: str) -> dict[str, Statement]:
    """Return the statements on this shop whose signature is valid, by digest."""
    return {s.digest: s for s in statements if s.shop_key == shop_key and s.is_signed}


def _follow_rotations(
    shop_key: str, ordered: list[Statement], earlier: dict[str, Statement]
) -> tuple[tuple[Statement, ...], tuple[Statement, ...], bool]:
    """Return the rotations from the first key on, those that contradict them, and any dispute."""
    chain: list[str] = [shop_key]
    rotations: list[Statement] = []
    rivals: list[Statement] = []
    while True:
        choices = [
            s
            for s in ordered
            if s.kind == "rotation" and s.signed_by == chain[-1] and s.key not in chain
        ]
        next_keys = {s.key for s in choices}
        next_keys_known_earlier = {s.key for s in choices if s.digest in earlier}
        if not next_keys:
            return tuple(rotations), tuple(rivals), False
        # A stolen key can be rotated by the thief too; only a rotation known before decides.
        if len(next_keys) > 1 and len(next_keys_known_earlier) != 1:
            return tuple(rotations), (*rivals, *choices), True
        next_key = min(next_keys_known_earlier or next_keys)
        rivals += [s for s in choices if s.key != next_key]
        rotations.append(next(s for s in choices if s.key == next_key))
        chain.append(next_key)


def _keep_first(statements: list[Statement]) -> tuple[Statement, ...]:
    """Return the earliest statement about each key, sorted by name and key."""
    by_key: dict[str, Statement] = {}
    for statement in sorted(statements, key=lambda s: (s.date, s.digest)):
        by_key.setdefault(statement.key, statement)
    return tuple(sorted(by_key.values(), key=lambda s: (s.name, s.key)))
