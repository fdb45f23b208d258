"""The laws of a shop's keys, each as a property of any set of statements in any order.

A set is drawn from all that a shop's owner, a thief of an old key and a stranger can sign.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinfolio.loaders.keys.key_statements import (
    ShopKeys,
    Statement,
    StatementKind,
    judge_keys,
    sign_statement,
)
from pinfolio.loaders.keys.signing_key import derive_public_key, is_signed

PRIVATE = [bytes([number]) * 32 for number in range(1, 8)]
PUBLIC = [derive_public_key(private).hex() for private in PRIVATE]
SHOP, SECOND, THIRD, LAPTOP, TABLET, THIEF, STRANGER = range(7)
DAYS = ("2026-03-01", "2026-09-01")


def state(
    kind: StatementKind, key: int, by: int, day: str = DAYS[0], shop: int = SHOP
) -> Statement:
    """Return the statement that the owner of one key signs about another."""
    return sign_statement(PRIVATE[by], kind, PUBLIC[shop], PUBLIC[key], f"device-{key}", day)


def judge(statements: Iterable[Statement], earlier: Iterable[Statement] = ()) -> ShopKeys:
    return judge_keys(PUBLIC[SHOP], statements, earlier)


KEYS = st.integers(SHOP, STRANGER)
STATEMENTS = st.builds(
    state, st.sampled_from(["device", "rotation", "revocation"]), KEYS, KEYS, st.sampled_from(DAYS)
)
SETS = st.lists(STATEMENTS, max_size=8)


class TestAuthorship:
    @given(statements=SETS, rogue=st.lists(st.builds(state, st.just("device"), KEYS, KEYS)))
    def test_statements_that_no_key_of_the_shop_signed_change_nothing(
        self, statements: list[Statement], rogue: list[Statement]
    ) -> None:
        keys = judge(statements)
        foreign = [s for s in rogue if s.signed_by not in keys.chain and not s.is_request]
        assert judge([*statements, *foreign]) == keys

    @given(statement=STATEMENTS, other=STATEMENTS, field=st.sampled_from(["kind", "key", "date"]))
    def test_a_changed_statement_is_no_statement(
        self, statement: Statement, other: Statement, field: str
    ) -> None:
        forged = Statement(**statement.model_dump() | {field: getattr(other, field)})
        changes = getattr(statement, field) != getattr(other, field)
        assert forged.is_signed == (not changes)
        if changes:
            assert judge([forged]) == judge([])

    def test_a_statement_about_another_shop_does_not_count(self) -> None:
        assert judge([state("device", LAPTOP, SHOP, shop=STRANGER)]) == judge([])

    def test_no_signature_serves_for_another_kind_of_text(self) -> None:
        certificate = state("device", LAPTOP, SHOP)
        document = certificate.model_dump_json(exclude={"signature"}).encode()
        for head in (b"", b"pinfolio note 1\n"):
            key, signature = bytes.fromhex(PUBLIC[SHOP]), bytes.fromhex(certificate.signature)
            assert not is_signed(key, signature, head + document)


class TestDevices:
    def test_a_certified_device_signs(self) -> None:
        keys = judge([state("device", LAPTOP, SHOP)])
        assert keys.signers == (PUBLIC[SHOP], PUBLIC[LAPTOP])

    def test_a_device_certifies_no_other(self) -> None:
        keys = judge([state("device", LAPTOP, SHOP), state("device", TABLET, LAPTOP)])
        assert PUBLIC[TABLET] not in keys.signers

    def test_a_request_waits_until_it_is_certified(self) -> None:
        request = state("device", LAPTOP, LAPTOP)
        keys = judge([request])
        assert (keys.signers, keys.waiting) == ((PUBLIC[SHOP],), (request,))
        assert "not certified by the shop's key yet" in keys.explain_refusal(PUBLIC[LAPTOP])
        assert judge([request, state("device", LAPTOP, SHOP)]).waiting == ()

    @given(statements=SETS)
    def test_every_signer_is_the_current_key_or_certified_by_it(
        self, statements: list[Statement]
    ) -> None:
        keys = judge(statements)
        certified = {
            s.key for s in statements if s.kind == "device" and s.signed_by == keys.current
        }
        assert set(keys.signers) <= certified | {keys.current}


class TestRotation:
    def test_it_ends_the_old_key_and_its_certificates(self) -> None:
        keys = judge([state("device", LAPTOP, SHOP), state("rotation", SECOND, SHOP)])
        assert keys.signers == (PUBLIC[SECOND],)
        assert "changed this key for another on 2026-03-01" in keys.explain_refusal(PUBLIC[SHOP])

    def test_a_device_signs_on_once_the_new_key_certifies_it(self) -> None:
        rotation, certificate = state("rotation", SECOND, SHOP), state("device", LAPTOP, SECOND)
        assert judge([rotation, certificate]).signers == (PUBLIC[SECOND], PUBLIC[LAPTOP])

    @given(statements=SETS)
    def test_no_key_before_the_last_of_the_chain_signs(self, statements: list[Statement]) -> None:
        keys = judge(statements)
        assert not set(keys.chain[:-1]) & set(keys.signers)

    def test_of_two_rotations_the_one_known_earlier_counts(self) -> None:
        ours, thiefs = state("rotation", SECOND, SHOP), state("rotation", THIEF, SHOP)
        for first, rival in ((ours, thiefs), (thiefs, ours)):
            keys = judge([ours, thiefs], [first])
            assert (keys.current, keys.rivals) == (first.key, (rival,))

    def test_two_rotations_at_once_leave_no_current_key(self) -> None:
        keys = judge([state("rotation", SECOND, SHOP), state("rotation", THIEF, SHOP)])
        assert (keys.is_disputed, keys.current, keys.signers) == (True, None, ())
        assert "changed twice" in keys.explain_refusal(PUBLIC[SECOND])

    def test_a_ring_of_rotations_ends(self) -> None:
        ring = [state("rotation", SECOND, SHOP), state("rotation", SHOP, SECOND)]
        assert judge(ring).current == PUBLIC[SECOND]


class TestRevocation:
    @given(statements=SETS)
    def test_a_revoked_key_never_signs(self, statements: list[Statement]) -> None:
        keys = judge([*statements, state("revocation", LAPTOP, SHOP)])
        assert PUBLIC[LAPTOP] not in keys.signers

    @given(statements=SETS, later=SETS)
    def test_nothing_that_comes_later_takes_a_revocation_back(
        self, statements: list[Statement], later: list[Statement]
    ) -> None:
        before = judge(statements)
        revoked = {s.key for s in before.revocations}
        after = judge([*later, *statements], before.counting)
        assert revoked <= {s.key for s in after.revocations}
        assert not revoked & set(after.signers)

    def test_its_reason_names_the_device(self) -> None:
        keys = judge([state("device", LAPTOP, SHOP), state("revocation", LAPTOP, SHOP)])
        refused = keys.explain_refusal(PUBLIC[LAPTOP])
        assert refused == "the device device-3 was revoked on 2026-03-01"


class TestReplay:
    @given(statements=SETS, data=st.data())
    def test_order_and_repetition_do_not_matter(
        self, statements: list[Statement], data: st.DataObject
    ) -> None:
        shuffled = data.draw(st.permutations(statements * 2))
        assert judge(shuffled) == judge(statements)

    @given(statements=SETS, data=st.data())
    def test_an_older_set_changes_nothing(
        self, statements: list[Statement], data: st.DataObject
    ) -> None:
        now = judge(statements)
        older = data.draw(st.lists(st.sampled_from(statements))) if statements else []
        again = judge(older, now.counting)
        if not now.is_disputed:
            assert again.counting == now.counting
            assert again.signers == now.signers

    @given(statements=SETS, later=SETS)
    def test_a_chain_only_grows(self, statements: list[Statement], later: list[Statement]) -> None:
        before = judge(statements)
        after = judge(later, before.counting)
        assert after.chain[: len(before.chain)] == before.chain


@pytest.mark.parametrize("kind", ["device", "rotation", "revocation"])
def test_the_one_spelling_is_read_again(kind: StatementKind) -> None:
    statement = state(kind, LAPTOP, SHOP)
    assert Statement.model_validate_json(statement.document()) == statement
    assert statement.is_signed
