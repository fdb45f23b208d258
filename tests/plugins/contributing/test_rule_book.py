"""The rule book for readers: every entry of a rule is in its document."""

from __future__ import annotations

import pytest
from pinfolio.plugins.contributing.rule_book import UnknownRule, describe_rule, find_rules
from pinfolio.schema.rules import RULE_BOOK


@pytest.mark.parametrize("rule", RULE_BOOK, ids=lambda rule: rule.name)
def test_a_rule_is_described_whole(rule: object) -> None:
    document = describe_rule(rule)  # type: ignore[arg-type]
    texts = ("title", "why", "fix", "bad", "good")
    assert [document[key] for key in texts] == [getattr(rule, key) for key in texts]
    assert all(document[key].strip() for key in texts)


def test_without_a_name_all_rules_come_in_the_order_of_the_book() -> None:
    assert find_rules(None) == list(RULE_BOOK)
    assert [rule.name for rule in find_rules("blank")] == ["blank"]


def test_an_unknown_rule_is_named_with_the_nearest() -> None:
    with pytest.raises(UnknownRule, match=r"no rule 'dc-posible'; did you mean 'dc-possible'\?"):
        find_rules("dc-posible")
    with pytest.raises(UnknownRule, match="`pinfolio rules` names them all"):
        find_rules("zzzz")
