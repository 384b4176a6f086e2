"""What may happen to a check afterwards, and what breaks a system's chain of checks."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.checks.locks import lock_systems
from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckVoid,
    LateConfirmation,
    MeasuringSystem,
)
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue


@service(may="checks.void")
def void_check(
    *, check: ArtefactCheck, cause: str, reason: str, acting_user: User
) -> CheckVoid:
    """Declare a check void. It stays visible, counts for nothing, and is judged anew.

    A pass may be voided for any cause. A fail is voided by the quality manager, and
    for a recording error only: "repeated, and it passed" is none.

    Raises
    ------
    NotAllowed
        If it failed and the actor is not the quality manager.
    NotAcceptable
        If the cause doesn't fit or the reason is missing.
    WrongState
        If it is void already.
    """
    lock_systems([check.system])
    if cause not in CheckVoid.Cause:
        raise NotAcceptable(f"“{cause}” is no cause.", field="cause")
    if not check.passed:
        _require_may_void_fail(cause, acting_user)
    try:
        with transaction.atomic():
            void = CheckVoid.objects.create(
                artefact_check=check,
                cause=cause,
                reason=refuse_placeholder(reason, "reason"),
                voided_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("This check is void already.") from None
    audit.record(
        "check.voided",
        check,
        actor=acting_user,
        reason=void.reason,
        before={"verdict": check.verdict},
        after={"cause": cause},
    )
    enqueue("lapses.judge_system", check.system_id)
    return void


def _require_may_void_fail(cause: str, actor: User) -> None:
    if not actor.may("checks.void_fail"):
        raise NotAllowed("A failed check is declared void by the quality manager only.")
    if cause != CheckVoid.Cause.RECORDING_ERROR:
        raise NotAcceptable(
            "A failed check is void only if it was recorded wrongly. That a repeat "
            "passed, or another artefact would have, is no such error.",
            field="cause",
        )


@service(may="checks.record")
def confirm_late_check(
    *, check: ArtefactCheck, reason: str, acting_user: User
) -> LateConfirmation:
    """Give a second person's word for a pass that was recorded late; it then counts.

    Raises
    ------
    NotAllowed
        If the actor measured it.
    WrongState
        If it waits for no confirmation: in time, failed, void or confirmed already.
    NotAcceptable
        If the reason is missing.
    """
    lock_systems([check.system])
    if check.measured_by_id == acting_user.pk:
        raise NotAllowed("Somebody else than who measured it confirms a late check.")
    if not check.is_late or not check.passed or _is_void(check):
        raise WrongState("This check waits for nobody's confirmation.")
    try:
        with transaction.atomic():
            word = LateConfirmation.objects.create(
                artefact_check=check,
                reason=refuse_placeholder(reason, "reason"),
                confirmed_by=acting_user,
            )
    except IntegrityError:
        raise WrongState("This check is confirmed already.") from None
    audit.record("check.confirmed", check, actor=acting_user, reason=word.reason)
    enqueue("lapses.judge_system", check.system_id)
    return word


def _is_void(check: ArtefactCheck) -> bool:
    return CheckVoid.objects.filter(artefact_check=check).exists()


@service(may="checks.record")
def record_break(
    *, system: MeasuringSystem, kind: str, at: datetime, note: str, acting_user: User
) -> Break:
    """Record something after which a system may measure differently.

    The same break entered twice is kept once.

    Raises
    ------
    NotAcceptable
        If the kind is none, the time lies in the future or the note is missing.
    """
    lock_systems([system])
    clock.require_not_future(at)
    if kind not in Break.Kind:
        raise NotAcceptable(f"“{kind}” is no kind of break.", field="kind")
    said = {"kind": kind, "at": at, "note": refuse_placeholder(note, "note")}
    earlier = system.breaks.filter(**said).first()
    if earlier is not None:
        audit.nothing_changed()
        return earlier
    made = Break.objects.create(system=system, recorded_by=acting_user, **said)
    audit.record(
        "system.break_recorded", system, actor=acting_user, reason=made.note, after=said
    )
    enqueue("lapses.judge_system", system.pk)
    return made
