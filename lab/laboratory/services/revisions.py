"""A method's next revision is recorded, whole and frozen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.laboratory.climate import LIMIT_NAMES, Limits
from lab.laboratory.models import (
    CharacteristicKind,
    CheckKind,
    Method,
    MethodCapability,
    MethodCheck,
    MethodRevision,
)
from lab.laboratory.models.methods import MINIMUM_TARGETS
from lab.laboratory.records import described, insert
from lab.laboratory.scope import Capability
from lab.laboratory.selectors import home_zone


@service(may="methods.revise")
def record_method_revision(
    *,
    method: Method,
    revision: str,
    valid_from: date,
    valid_until: date | None = None,
    reference_document: str,
    changes: str,
    limits: Limits,
    capabilities: Sequence[Capability],
    checks: Sequence[str] = (),
    minimum_targets: int = MINIMUM_TARGETS,
    acting_user: User,
) -> MethodRevision:
    """Record a revision of a method with its scope, claims, checks and limits.

    The first revision of a method may have been valid before it was recorded here; a
    later one comes into force on its first day, but never before it was recorded.

    Raises
    ------
    NotAcceptable
        If the days are out of order or a later revision begins in the past, the
        revision's mark is taken, nothing is in scope or a kind is there twice, or a
        text isn't fit to be printed.
    WrongState
        If no laboratory is set up: its time zone says when days begin.
    """
    method = Method.objects.select_for_update().get(pk=method.pk)
    _require_days(method, valid_from, valid_until)
    _require_scope(capabilities)
    record = insert(
        MethodRevision(
            method=method,
            revision=refuse_placeholder(revision, "revision"),
            valid_from=valid_from,
            valid_until=valid_until,
            reference_document=refuse_placeholder(
                reference_document, "reference_document"
            ),
            changes=refuse_placeholder(changes, "changes"),
            minimum_targets=minimum_targets,
            recorded_by=acting_user,
            **limits.columns(),
        )
    )
    for capability in capabilities:
        insert(MethodCapability(revision=record, **capability.columns()))
    for kind in dict.fromkeys(checks):
        insert(MethodCheck(revision=record, kind=kind))
    audit.record(
        "method_revision.recorded",
        record,
        actor=acting_user,
        reason=record.changes,
        after=_told(record),
    )
    return record


def _require_days(method: Method, valid_from: date, valid_until: date | None) -> None:
    if valid_until is not None and valid_until < valid_from:
        raise NotAcceptable(
            f"The last day, {valid_until}, lies before the first, {valid_from}.",
            field="valid_until",
        )
    today = clock.today(home_zone())
    if valid_from < today and method.revisions.exists():
        raise NotAcceptable(
            f"{valid_from} has passed: work of that day was done to the revision "
            f"before. Begin on {today} or later.",
            field="valid_from",
        )


def _require_scope(capabilities: Sequence[Capability]) -> None:
    kinds = [capability.kind for capability in capabilities]
    if not kinds:
        raise NotAcceptable(
            "Nothing is in scope. Give sizes and smallest uncertainty for at least "
            "one kind of characteristic."
        )
    twice = {kind for kind in kinds if kinds.count(kind) > 1}
    if twice:
        names = ", ".join(CharacteristicKind(kind).label for kind in sorted(twice))
        raise NotAcceptable(f"{names} stands in the scope twice.")


def _told(record: MethodRevision) -> dict[str, Any]:
    return described(
        record,
        "revision",
        "valid_from",
        "valid_until",
        "reference_document",
        "minimum_targets",
        *LIMIT_NAMES,
    ) | {
        "scope": {
            one.kind: f"{one.smallest} to {one.largest}, {one.cmc_in_words}"
            for one in record.capabilities.all()
        },
        "checks": [CheckKind(one.kind).value for one in record.checks_wanted.all()],
    }
