"""Asking again who acts, before what can't be taken back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from axes.utils import reset
from django.contrib.auth import authenticate

from lab.accounts.codes import check_code
from lab.accounts.http import Request
from lab.accounts.models import User
from lab.common import clock
from lab.common.actors import Actor
from lab.common.errors import NotAllowed

#: A confirmation is for the act that follows it at once, not for the afternoon.
GOOD_FOR = timedelta(minutes=2)


class PasswordNotRight(NotAllowed):
    """The password typed to confirm an act is not the person's."""


@dataclass(frozen=True, slots=True)
class ConfirmedIdentity:
    """Proof that a person has just given password and code again.

    Services that issue, withdraw or close take one as ``identity`` and hand it to
    :func:`require_identity`. Only :func:`confirm_identity` makes them.
    """

    person_id: int
    at: datetime


def confirm_identity(request: Request, password: str, code: str) -> ConfirmedIdentity:
    """Check a person's password and, where the role has one, the one-time code again.

    To be called by the view, before the service that wants the proof: wrong tries
    must count, and would be forgotten with the service's transaction (inside one
    this raises RuntimeError). Wrong passwords count towards the lock-out of the
    sign-in page; wrong codes make the next one wait.

    Raises
    ------
    PasswordNotRight
        If the password is wrong or the person is locked out.
    CodeNotAccepted
        If the code is wrong, used or tried too often.
    """
    person = request.user
    if not has_password(request, person, password):
        raise PasswordNotRight("This is not your password.", field="password")
    if person.needs_code:
        check_code(person, code)
    return ConfirmedIdentity(person_id=person.pk, at=clock.now())


def has_password(request: Request, person: User, password: str) -> bool:
    """Tell whether a password is the person's; wrong ones count to the lock-out."""
    found = authenticate(request, username=person.email, password=password)
    return found is not None and found.pk == person.pk


def forget_wrong_passwords(person: User) -> None:
    """Lift a lock-out: whoever set a new password by mail has shown who they are."""
    reset(username=person.email)


def require_identity(identity: ConfirmedIdentity | None, acting_user: Actor) -> None:
    """Refuse an act for which its actor has not just given password and code.

    Raises
    ------
    NotAllowed
        If there is no proof, it is another person's, or it is older than two
        minutes.
    """
    proven = (
        identity is not None
        and acting_user.pk is not None
        and identity.person_id == acting_user.pk
        and timedelta(0) <= clock.now() - identity.at <= GOOD_FOR
    )
    if not proven:
        raise NotAllowed("Give your password and your one-time code again.")
