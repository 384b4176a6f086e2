"""Raising holds and clearing them, each with a reason."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.jobs.models import Hold, HoldClearance, Job, MeasuringSession


@service(may="holds.raise")
def raise_hold(
    *,
    job: Job,
    cause_key: str,
    title: str,
    reason: str,
    session: MeasuringSession | None = None,
    acting_user: Actor,
) -> Hold:
    """Raise a hold on a job, once for its cause; a second time changes nothing.

    A hold that was cleared is not raised again by the same cause: somebody has
    looked at that and decided.
    """
    there = Hold.objects.filter(job=job, cause_key=cause_key).first()
    if there is not None:
        audit.nothing_changed()
        return there
    try:
        with transaction.atomic():
            made = Hold.objects.create(
                job=job,
                session=session,
                cause_key=cause_key,
                title=title,
                reason=refuse_placeholder(reason, "reason"),
                raised_by_id=acting_user.pk,
            )
    except IntegrityError:
        audit.nothing_changed()
        return Hold.objects.get(job=job, cause_key=cause_key)
    audit.record("hold.raised", made, actor=acting_user, reason=reason)
    return made


@service(may="holds.clear")
def clear_hold(*, hold: Hold, reason: str, acting_user: User) -> HoldClearance:
    """Clear one hold, and no other.

    Raises
    ------
    NotAcceptable
        Without a reason.
    WrongState
        If it is cleared already.
    """
    text = refuse_placeholder(reason, "reason")
    try:
        with transaction.atomic():
            made = HoldClearance.objects.create(
                hold=hold, reason=text, cleared_by=acting_user
            )
    except IntegrityError:
        raise WrongState("This hold is cleared already.") from None
    audit.record("hold.cleared", hold, actor=acting_user, reason=text)
    return made


@service(may="holds.clear")
def clear_holds(
    *, holds: Sequence[Hold], reason: str, acting_user: User
) -> list[HoldClearance]:
    """Clear several holds by one decision; each is listed in the audit.

    Raises
    ------
    NotAcceptable, WrongState
        See :func:`clear_hold`; then none is cleared.
    """
    if not holds:
        audit.nothing_changed()
    return [
        clear_hold(hold=hold, reason=reason, acting_user=acting_user) for hold in holds
    ]
