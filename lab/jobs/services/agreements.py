"""Contract review: what was agreed before the work, and with whom."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import optional_text, refuse_placeholder
from lab.customers.models import Contact
from lab.jobs.models import Agreement, Job
from lab.jobs.selectors import claimed_u
from lab.jobs.states import lock_job, require_open
from lab.laboratory.models import DecisionRuleRevision, MethodRevision
from lab.laboratory.selectors import home_zone
from lab.metrology.conformity import EmptyAcceptance, acceptance_limits
from lab.metrology.errors import MetrologyError
from lab.parts.models import PartRevision


@service(may="jobs.book")
def record_agreement(
    *,
    job: Job,
    asked: str,
    part_revision: PartRevision,
    method: MethodRevision,
    rule: DecisionRuleRevision | None = None,
    burden: str = "",
    sampling: str = "",
    agreed_with: Contact,
    agreed_on: date,
    acting_user: User,
) -> Agreement:
    """Record a contract review; from now on it is the one in force.

    Earlier ones stay, and so do results decided under them.

    Raises
    ------
    NotAcceptable
        If a text is a placeholder, somebody else's contact agreed, the day lies in
        the future, the rule lacks who must prove what, or, at the smallest
        uncertainty that the method claims, the rule could accept no value at all.
    WrongState
        If the job is over.
    """
    job = lock_job(job)
    require_open(job)
    if agreed_with.customer_id != job.customer_id:
        raise NotAcceptable(
            f"{agreed_with.name} is no contact of {job.customer.name}.",
            field="agreed_with",
        )
    if part_revision.part_id != job.part_revision.part_id:
        raise NotAcceptable(f"{part_revision} is another part.", field="part_revision")
    if agreed_on > clock.today(home_zone()):
        raise NotAcceptable("The day lies in the future.", field="agreed_on")
    if rule is not None:
        _require_something_acceptable(part_revision, method, rule, burden)
    number = job.agreements.count() + 1
    made = Agreement.objects.create(
        job=job,
        number=number,
        asked=refuse_placeholder(asked, "asked"),
        part_revision=part_revision,
        method=method,
        rule=rule,
        burden=burden if rule is not None else "",
        sampling=optional_text(sampling, "sampling"),
        agreed_with=agreed_with,
        agreed_on=agreed_on,
        reviewed_by=acting_user,
    )
    if job.part_revision_id != part_revision.pk:
        job.part_revision = part_revision
        job.save(update_fields=["part_revision"])
    audit.record(
        "job.agreed",
        job,
        actor=acting_user,
        after={
            "review": number,
            "part": str(part_revision),
            "method": str(method),
            "rule": str(rule) if rule else None,
            "burden": made.burden,
            "agreed_with": agreed_with.name,
            "agreed_on": agreed_on,
        },
    )
    return made


def _require_something_acceptable(
    part_revision: PartRevision,
    method: MethodRevision,
    rule: DecisionRuleRevision,
    burden: str,
) -> None:
    """Refuse a rule by which some characteristic could never be passed."""
    try:
        agreed = rule.as_rule(burden or None)
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="burden") from None
    for characteristic in part_revision.characteristics.all():
        u = claimed_u(method, characteristic)
        if u is None:
            continue
        try:
            acceptance_limits(u, Decimal(2), characteristic.tolerance, agreed)
        except EmptyAcceptance as refusal:
            raise NotAcceptable(
                f"Characteristic {characteristic.number}: even with the smallest "
                f"uncertainty of {method}, no value could be accepted by this rule. "
                f"{refusal}",
                field="rule",
            ) from None
