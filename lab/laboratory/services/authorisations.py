"""People are authorised for activities of a method, and stand in for each other."""

from __future__ import annotations

from datetime import date

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.laboratory.models import (
    Activity,
    Authorisation,
    AuthorisationRevocation,
    Deputation,
    DeputationEnd,
    Method,
)
from lab.laboratory.records import described, insert
from lab.laboratory.selectors import home_zone


@service(may="authorisations.grant")
def grant_authorisation(
    *,
    person: User,
    method: Method,
    activity: str,
    valid_from: date,
    valid_until: date | None,
    evidence: str,
    evidence_file: StoredFile | None = None,
    acting_user: User,
) -> Authorisation:
    """Authorise a person for one activity of a method, from today or later.

    Nothing is authorised after the fact: it counts from its first day, but never
    before it was granted.

    Raises
    ------
    NotAcceptable
        If the person is no active member of staff, the days are past or out of
        order, or the evidence says nothing.
    WrongState
        If no laboratory is set up: its time zone says when days begin.
    """
    _require_staff(person, "person")
    _require_days(valid_from, valid_until)
    if activity not in Activity.values:
        raise NotAcceptable(f"There is no activity “{activity}”.", field="activity")
    authorisation = insert(
        Authorisation(
            person=person,
            method=method,
            activity=activity,
            valid_from=valid_from,
            valid_until=valid_until,
            evidence=refuse_placeholder(evidence, "evidence"),
            evidence_file=evidence_file,
            granted_by=acting_user,
        )
    )
    told = ("person", "method", "activity", "valid_from", "valid_until", "evidence")
    audit.record(
        "authorisation.granted",
        authorisation,
        actor=acting_user,
        after=described(authorisation, *told)
        | {"evidence_sha256": evidence_file.sha256 if evidence_file else None},
    )
    enqueue("lapses.judge_person", person.pk)
    return authorisation


@service(may="authorisations.grant")
def revoke_authorisation(
    *, authorisation: Authorisation, reason: str, acting_user: User
) -> AuthorisationRevocation:
    """Take an authorisation back from now on. Work done under it stays authorised.

    Raises
    ------
    WrongState
        If it is revoked already.
    NotAcceptable
        If no reason is given.
    """
    reason = refuse_placeholder(reason, "reason")
    if AuthorisationRevocation.objects.filter(authorisation=authorisation).exists():
        raise WrongState("This authorisation is revoked already.")
    revocation = insert(
        AuthorisationRevocation(
            authorisation=authorisation,
            at=clock.now(),
            reason=reason,
            revoked_by=acting_user,
        )
    )
    audit.record(
        "authorisation.revoked",
        authorisation,
        actor=acting_user,
        reason=reason,
        after={"revoked_at": revocation.at},
    )
    enqueue("lapses.judge_person", authorisation.person_id)
    return revocation


@service(may="authorisations.grant")
def name_deputy(
    *,
    person: User,
    deputy: User,
    valid_from: date,
    valid_until: date,
    reason: str,
    acting_user: User,
) -> Deputation:
    """Let one person stand in for another, for review and authorising, for a time.

    Raises
    ------
    NotAcceptable
        If either is no active member of staff, both are one, the days are past or
        out of order, or no reason is given.
    """
    _require_staff(person, "person")
    _require_staff(deputy, "deputy")
    if person == deputy:
        raise NotAcceptable(
            "Nobody stands in for themself. Choose another person.", field="deputy"
        )
    _require_days(valid_from, valid_until)
    deputation = insert(
        Deputation(
            person=person,
            deputy=deputy,
            valid_from=valid_from,
            valid_until=valid_until,
            reason=refuse_placeholder(reason, "reason"),
            granted_by=acting_user,
        )
    )
    audit.record(
        "deputation.named",
        deputation,
        actor=acting_user,
        reason=deputation.reason,
        after=described(deputation, "person", "deputy", "valid_from", "valid_until"),
    )
    return deputation


@service(may="authorisations.grant")
def end_deputation(*, deputation: Deputation, acting_user: User) -> None:
    """End a deputation now, before its last day. Ending it again changes nothing."""
    if DeputationEnd.objects.filter(deputation=deputation).exists():
        audit.nothing_changed()
        return
    ending = insert(
        DeputationEnd(deputation=deputation, at=clock.now(), ended_by=acting_user)
    )
    audit.record(
        "deputation.ended",
        deputation,
        actor=acting_user,
        after={"ended_at": ending.at},
    )


def _require_staff(person: User, field: str) -> None:
    if person.is_client or not person.is_active:
        raise NotAcceptable(
            f"{person} is no active member of the laboratory's staff.", field=field
        )


def _require_days(valid_from: date, valid_until: date | None) -> None:
    today = clock.today(home_zone())
    if valid_from < today:
        raise NotAcceptable(
            f"{valid_from} has passed, and nothing is allowed after the fact. "
            f"Begin on {today} or later.",
            field="valid_from",
        )
    if valid_until is not None and valid_until < valid_from:
        raise NotAcceptable(
            f"The last day, {valid_until}, lies before the first, {valid_from}.",
            field="valid_until",
        )
