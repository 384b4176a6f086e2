"""Corrective actions: set down, done, and looked at again."""

from __future__ import annotations

from datetime import date

from django.db import IntegrityError, models, transaction

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.evidence.guards import lock_open, require_decider
from lab.evidence.models import Action, ActionDone, Case, EffectCheck


@service
def add_action(
    *,
    case: Case,
    what: str,
    responsible: User,
    due_on: date,
    effect_due_on: date,
    acting_user: User,
) -> Action:
    """Set down what is to be done so that it does not happen again.

    Raises
    ------
    NotAllowed, CaseClosed
    NotAcceptable
        If it says nothing, nobody of the lab is responsible, or its effect would be
        looked at before it is done.
    """
    require_decider(acting_user)
    text = refuse_placeholder(what, "what")
    if responsible.is_client or not responsible.is_active:
        raise NotAcceptable("Choose somebody of the lab.", field="responsible")
    if effect_due_on < due_on:
        raise NotAcceptable(
            "Its effect can't be looked at before it is done.", field="effect_due_on"
        )
    locked = lock_open(case)
    made = Action.objects.create(
        case=locked,
        what=text,
        responsible=responsible,
        due_on=due_on,
        effect_due_on=effect_due_on,
        added_by=acting_user,
    )
    audit.record(
        "case.action_set",
        locked,
        actor=acting_user,
        after={"what": text, "responsible": responsible.name, "due_on": due_on},
    )
    return made


@service(may="cases.open")
def record_done(*, action: Action, note: str, acting_user: User) -> ActionDone:
    """Record that an action was taken, by whoever took it.

    Raises
    ------
    NotAcceptable
        Without a note.
    WrongState
        If it is recorded already, or the case is closed.
    """
    text = refuse_placeholder(note, "note")
    case = lock_open(action.case)
    made = ActionDone(action=action, note=text, done_by=acting_user)
    _once(made, "This action is done already.")
    audit.record("case.action_done", case, actor=acting_user, reason=text)
    return made


@service
def check_effect(
    *, action: Action, helped: bool, note: str, acting_user: User
) -> EffectCheck:
    """Record whether an action helped, and what was looked at.

    Raises
    ------
    NotAllowed, NotAcceptable
    WrongState
        If it is not done yet, was looked at already, or the case is closed.
    """
    require_decider(acting_user)
    text = refuse_placeholder(note, "note")
    case = lock_open(action.case)
    if not ActionDone.objects.filter(action=action).exists():
        raise WrongState("The action is not done yet. Record that first.")
    made = EffectCheck(action=action, helped=helped, note=text, checked_by=acting_user)
    _once(made, "Its effect was looked at already.")
    audit.record(
        "case.effect_checked",
        case,
        actor=acting_user,
        reason=text,
        after={"helped": helped},
    )
    return made


def _once(row: models.Model, refusal: str) -> None:
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        raise WrongState(refusal) from None
