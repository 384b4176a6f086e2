"""How methods and rules stand now, in a word and a shape, for their pages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from lab.laboratory.models import (
    DecisionRule,
    DecisionRuleRevision,
    Method,
    MethodRevision,
)
from lab.laboratory.ruling import Ruling
from lab.laboratory.selectors import (
    home_zone,
    in_force_from,
    methods_with_revisions,
    revision_of,
    rules_with_revisions,
    withdrawn_at,
)


@dataclass(frozen=True, slots=True)
class RevisionRow:
    """One revision of a method and how it stands."""

    revision: MethodRevision
    in_force_from: datetime
    state: str
    words: str


@dataclass(frozen=True, slots=True)
class MethodStanding:
    """A method, its revision in force if there is one, and all, newest first."""

    method: Method
    current: MethodRevision | None
    rows: tuple[RevisionRow, ...]

    @property
    def state(self) -> str:
        return "good" if self.current else "bad" if self.rows else "off"

    @property
    def words(self) -> str:
        if self.current is not None:
            return f"in force, revision {self.current.revision}"
        return "out of use" if self.rows else "no revision yet"


def method_standings(at: datetime) -> list[MethodStanding]:
    """Return how every method stands at an instant."""
    methods = list(methods_with_revisions())
    zone = home_zone() if methods else ZoneInfo("UTC")
    return [_standing(method, at, zone) for method in methods]


def standing_of(method: Method, at: datetime, zone: ZoneInfo) -> MethodStanding:
    """Return how one method stands at an instant."""
    return _standing(methods_with_revisions().get(pk=method.pk), at, zone)


def _standing(method: Method, at: datetime, zone: ZoneInfo) -> MethodStanding:
    revisions = sorted(method.revisions.all(), key=lambda one: one.pk)
    current = revision_of(revisions, at, zone)
    rows = [
        _row(revision, current, at, in_force_from(revision, first=not index, zone=zone))
        for index, revision in enumerate(revisions)
    ]
    return MethodStanding(method, current, tuple(reversed(rows)))


def _row(
    revision: MethodRevision,
    current: MethodRevision | None,
    at: datetime,
    begins: datetime,
) -> RevisionRow:
    withdrawn = withdrawn_at(revision)
    if withdrawn is not None and withdrawn <= at:
        return RevisionRow(revision, begins, "bad", "withdrawn")
    if revision == current:
        return RevisionRow(revision, begins, "good", "in force")
    if begins > at:
        return RevisionRow(revision, begins, "wait", "to come")
    return RevisionRow(revision, begins, "off", "superseded or run out")


@dataclass(frozen=True, slots=True)
class RuleStanding:
    """A decision rule, its last revision, and what it means in plain words."""

    rule: DecisionRule
    last: DecisionRuleRevision
    earlier: tuple[DecisionRuleRevision, ...]

    @property
    def offered(self) -> bool:
        return getattr(self.last, "withdrawal", None) is None

    @property
    def explanation(self) -> str:
        return Ruling.of(self.last).risk_in_words


def rule_standings() -> list[RuleStanding]:
    """Return every rule and how it stands: those on offer first."""
    standings = [_rule_standing(rule) for rule in rules_with_revisions()]
    return sorted(standings, key=lambda one: (not one.offered, one.rule.name))


def rule_standing(rule: DecisionRule) -> RuleStanding:
    return _rule_standing(rules_with_revisions().get(pk=rule.pk))


def _rule_standing(rule: DecisionRule) -> RuleStanding:
    last, *earlier = rule.revisions.all()
    return RuleStanding(rule, last, tuple(earlier))
