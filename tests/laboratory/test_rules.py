"""Decision rules: what is offered, that it stays so, and its risk in plain words."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from scipy.stats import norm

from lab.common.audit import history_of
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.laboratory import services
from lab.laboratory.models import DecisionRuleKind, DecisionRuleRevision
from lab.laboratory.ruling import Ruling, risk_in_words
from lab.laboratory.selectors import offered_rules
from lab.laboratory.standing import rule_standings
from lab.metrology.conformity import Rule, RuleKind
from lab.metrology.rounding import print_probability


def test_the_kinds_are_those_of_the_core() -> None:
    assert set(DecisionRuleKind.values) == {kind.value for kind in RuleKind}


def test_a_rule_is_offered_with_its_entry(house: Any) -> None:
    assert offered_rules() == [house.rule]
    assert house.rule.as_rule() == Rule("guarded", guard_factor=Decimal(1))
    entry = history_of(house.rule.rule).get()
    assert entry.verb == "decision_rule.offered"
    assert '"risk":"Few bad parts pass."' in entry.values_text


def test_numbers_are_printed_as_typed(house: Any, people: Any) -> None:
    for name, ruling, text in (
        ("R", Ruling("guarded", "0,83"), "w = 0.83 U"),
        ("P", Ruling("probability", probability_percent="97.5"), "at least 97.5 %"),
        ("I", Ruling("iso_14253_1", probability_percent="95"), "limit of 95 %"),
    ):
        revision = services.offer_decision_rule(
            name=name, ruling=ruling, risk="As worked out.", acting_user=people.quality
        )
        revision = DecisionRuleRevision.objects.get(pk=revision.pk)
        assert text in revision.text
        assert "conformity to be proven" not in revision.text
        assert Ruling.of(revision) == ruling


def test_who_must_prove_is_asked_for_where_the_rule_needs_it(
    house: Any, people: Any
) -> None:
    revision = services.offer_decision_rule(
        name="Proof",
        ruling=Ruling("iso_14253_1", probability_percent="95"),
        risk="As worked out.",
        acting_user=people.quality,
    )
    assert (revision.needs_burden, house.rule.needs_burden) == (True, False)
    rule = revision.as_rule("nonconformity")
    assert (rule.burden, rule.probability) == ("nonconformity", Decimal("0.95"))


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("kind", ("lenient",)),
        ("guard_factor", ("guarded",)),
        ("guard_factor", ("guarded", "nan")),
        ("guard_factor", ("guarded", "4")),
        ("guard_factor", ("guarded_conditional", "0")),
        ("guard_factor", ("guarded", "0.8333333333")),
        ("guard_factor", ("simple", "1")),
        ("probability_percent", ("guarded", "1", "95")),
        ("probability_percent", ("probability", "", "")),
        ("probability_percent", ("probability", "", "49")),
        ("probability_percent", ("iso_14253_1", "", "100")),
        ("probability_percent", ("probability", "", "inf")),
    ],
)
def test_a_ruling_that_is_none_is_refused(field: str, typed: tuple[str, ...]) -> None:
    with pytest.raises(NotAcceptable) as refusal:
        Ruling(*typed)
    assert refusal.value.field == field


def test_a_revision_leaves_what_was_agreed_as_it_was(house: Any, people: Any) -> None:
    second = services.revise_decision_rule(
        rule=house.rule.rule,
        ruling=Ruling("guarded", guard_factor="0.83"),
        risk="A few more.",
        reason="Customers asked.",
        acting_user=people.quality,
    )
    assert second.number == 2
    assert offered_rules() == [second]
    agreed = DecisionRuleRevision.objects.get(pk=house.rule.pk)
    assert agreed.as_rule().guard_factor == 1
    entry = history_of(house.rule.rule).first()
    assert entry is not None
    assert (entry.verb, entry.reason) == ("decision_rule.revised", "Customers asked.")
    for change in (agreed.save, agreed.delete):
        with pytest.raises(FrozenRecordChange):
            change()
    with pytest.raises(FrozenRecordChange):
        DecisionRuleRevision.objects.update(risk="None at all.")


def test_a_withdrawn_rule_is_offered_again_only_by_a_revision(
    house: Any, people: Any
) -> None:
    how: dict[str, Any] = {"rule": house.rule.rule, "acting_user": people.quality}
    services.withdraw_decision_rule(reason="Nobody agrees to it.", **how)
    assert offered_rules() == []
    with pytest.raises(WrongState, match="not offered"):
        services.withdraw_decision_rule(reason="Again.", **how)
    assert history_of(house.rule.rule).first().verb == "decision_rule.withdrawn"  # type: ignore[union-attr]
    again = services.revise_decision_rule(
        ruling=Ruling("simple"), risk="Shared.", reason="Asked for.", **how
    )
    assert offered_rules() == [again]


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("name", {"name": "Guarded"}),
        ("name", {"name": "tbd"}),
        ("risk", {"risk": "n/a"}),
    ],
)
def test_a_rule_unfit_is_refused(
    field: str, changes: dict[str, Any], house: Any, people: Any
) -> None:
    content = {"name": "Simple", "ruling": Ruling("simple"), "risk": "Shared."}
    with pytest.raises(NotAcceptable) as refusal:
        services.offer_decision_rule(acting_user=people.quality, **content | changes)
    assert refusal.value.field == field


def test_only_the_quality_manager_writes_rules(house: Any, people: Any) -> None:
    for person in (people.administrator, people.coordinator, people.signatory):
        with pytest.raises(NotAllowed):
            services.withdraw_decision_rule(
                rule=house.rule.rule, reason="Mine.", acting_user=person
            )


@pytest.mark.parametrize("factor", ["1", "0.83", "0.5", "-1"])
def test_the_worst_risk_of_a_guard_band_is_the_normal_tail(factor: str) -> None:
    # With w = r·U and k = 2 the limit of acceptance lies 2·r standard uncertainties
    # inside the tolerance, so that a pass there is wrong with 1 - Φ(2·r).
    tail = print_probability(float(norm.sf(2 * float(factor))))
    words = risk_in_words(Rule("guarded", guard_factor=Decimal(factor)))
    wrong = f"up to {tail}" if factor == "-1" else f"wrong with at most {tail}"
    assert wrong in words


@pytest.mark.parametrize(
    ("ruling", "words"),
    [
        (Ruling("simple"), "a pass may be wrong with up to 50.0 %"),
        (Ruling("guarded", "0"), "a pass may be wrong with up to 50.0 %"),
        (Ruling("guarded_conditional", "1"), "A pass is wrong with at most 2.3 %, and"),
        (Ruling("probability", "", "95"), "A pass is wrong with at most 5.0 %"),
        (Ruling("iso_14253_1", "", "95"), "wrong with at most 5.0 %, and so is"),
    ],
)
def test_each_kind_says_its_risk(ruling: Ruling, words: str) -> None:
    assert words in ruling.risk_in_words


def test_rules_on_offer_stand_first(house: Any, people: Any) -> None:
    services.withdraw_decision_rule(
        rule=house.rule.rule, reason="Old.", acting_user=people.quality
    )
    services.offer_decision_rule(
        name="Zero", ruling=Ruling("simple"), risk="Shared.", acting_user=people.quality
    )
    standings = rule_standings()
    assert [(s.rule.name, s.offered) for s in standings] == [
        ("Zero", True),
        ("Guarded", False),
    ]
