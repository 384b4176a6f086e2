"""People come, change their part in the lab, and leave; none is ever deleted."""

from __future__ import annotations

from django.contrib.auth.hashers import make_password
from django.db.models import F, Q
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.accounts.cleaning import (
    clean_email,
    clean_name,
    clean_reason,
    clean_role,
    require_free_email,
    require_good_password,
)
from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services.passwords import invite_person
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import NotAllowed, WrongState
from lab.common.services import service


@service(may="people.change")
def create_person(
    *, email: str, name: str, role: str, password: str | None = None, acting_user: Actor
) -> User:
    """Add a person who signs in by e-mail.

    Without a password nobody can sign in as them until they set one by a link
    that was sent to them.

    Raises
    ------
    NotAcceptable
        If the address is no address or is taken, the name is empty, there is no
        such role, or the password is too weak.
    """
    person = User(
        email=clean_email(email), name=clean_name(name), role=clean_role(role)
    )
    require_free_email(person.email)
    if password is not None:
        require_good_password(password, person)
    person = User.objects.create(
        email=person.email,
        name=person.name,
        role=person.role,
        password=make_password(password),
    )
    audit.record("person.added", person, actor=acting_user, after=_described(person))
    return person


@service(may="people.change")
def invite_new_person(*, email: str, name: str, role: str, acting_user: Actor) -> User:
    """Add a person and send them a link to set their first password by.

    Raises
    ------
    NotAcceptable
        If a value can't be taken, see :func:`create_person`.
    """
    person = create_person(email=email, name=name, role=role, acting_user=acting_user)
    invite_person(person=person, acting_user=acting_user)
    return person


@service(may="people.change")
def change_person(
    *, person: User, email: str, name: str, role: str, acting_user: Actor
) -> User:
    """Change what a person is called, signs in as or is in the lab.

    Another role ends their sessions.

    Raises
    ------
    NotAcceptable
        If a value can't be taken, see :func:`create_person`.
    NotAllowed
        If nobody would be left to administer the installation.
    """
    person = _locked(person)
    before = _described(person)
    person.email, person.name = clean_email(email), clean_name(name)
    person.role = clean_role(role)
    after = _described(person)
    if after == before:
        audit.nothing_changed()
        return person
    require_free_email(person.email, besides=person)
    if person.role != Role.ADMINISTRATOR:
        _require_another_administrator(person)
    if after["role"] != before["role"]:
        person.sessions_ended += 1  # so that going back to a role revives no session
    person.save(update_fields=["email", "name", "role", "sessions_ended"])
    changed = {key for key in after if after[key] != before[key]}
    audit.record(
        "person.changed",
        person,
        actor=acting_user,
        before={key: before[key] for key in changed},
        after={key: after[key] for key in changed},
    )
    return person


@service(may="people.change")
def deactivate_person(*, person: User, reason: str, acting_user: Actor) -> User:
    """Let a person sign in no more, and end their sessions.

    Raises
    ------
    NotAcceptable
        If no reason is given.
    NotAllowed
        If nobody would be left to administer the installation.
    WrongState
        If the person was deactivated already.
    """
    reason = clean_reason(reason)
    person = _locked(person)
    _require_another_administrator(person)
    active = User.objects.filter(pk=person.pk, is_active=True)
    # Counted up, so that coming back later revives no session that was left open.
    ended = F("sessions_ended") + 1
    if active.update(is_active=False, sessions_ended=ended) != 1:
        raise WrongState(f"{person.name} was deactivated already.")
    person.refresh_from_db()
    audit.record("person.deactivated", person, actor=acting_user, reason=reason)
    return person


@service(may="people.change")
def reactivate_person(*, person: User, reason: str, acting_user: Actor) -> User:
    """Let a person sign in again, with the password and the codes they had.

    Raises
    ------
    NotAcceptable
        If no reason is given.
    WrongState
        If the person is active.
    """
    reason = clean_reason(reason)
    if User.objects.filter(pk=person.pk, is_active=False).update(is_active=True) != 1:
        raise WrongState(f"{person.name} is active already.")
    person.refresh_from_db()
    audit.record("person.reactivated", person, actor=acting_user, reason=reason)
    return person


@service(may="people.change")
def reset_code(*, person: User, reason: str, acting_user: Actor) -> None:
    """Forget a person's one-time codes, so that they enrol at the next sign-in.

    Their sessions end: whoever holds the lost phone is out at once.

    Raises
    ------
    NotAcceptable
        If no reason is given.
    WrongState
        If the person has no one-time code.
    """
    reason = clean_reason(reason)
    person = _locked(person)
    removed, _ = TOTPDevice.objects.filter(user=person).delete()
    if not removed:
        raise WrongState(f"{person.name} has no one-time code to reset.")
    person.backup_codes.all().delete()
    User.objects.filter(pk=person.pk).update(sessions_ended=F("sessions_ended") + 1)
    audit.record("code.reset", person, actor=acting_user, reason=reason)


def _described(person: User) -> dict[str, object]:
    """Return what the audit keeps of a person."""
    return {
        "email": person.email,
        "name": person.name,
        "role": str(person.role),
        "active": person.is_active,
    }


def _locked(person: User) -> User:
    """Lock a person's row together with every administrator's, and read it anew.

    All are locked by one query in one order, so that two administrators who
    deactivate each other at once neither both succeed nor wait for each other.
    """
    rows = User.objects.select_for_update(no_key=True).filter(
        Q(pk=person.pk) | Q(role=Role.ADMINISTRATOR)
    )
    return next(row for row in rows.order_by("pk") if row.pk == person.pk)


def _require_another_administrator(person: User) -> None:
    """Refuse what would take away the last one who can add and change people."""
    active = User.objects.filter(role=Role.ADMINISTRATOR, is_active=True)
    if set(active.values_list("pk", flat=True)) == {person.pk}:
        raise NotAllowed(
            f"{person.name} is the last active administrator. "
            "Make somebody else administrator first."
        )
