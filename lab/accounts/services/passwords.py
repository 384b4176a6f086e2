"""Passwords: changed by their owner, or set by a link that was sent by mail."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.contrib.auth.hashers import make_password

from lab.accounts.cleaning import require_good_password
from lab.accounts.links import find_link, make_address
from lab.accounts.models import PasswordLink, PasswordRequest, User
from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.work.queue import enqueue

Kind = PasswordLink.Kind
INVITATION_GOOD_FOR = timedelta(days=7)
REQUESTS_KEPT = timedelta(days=1)
REQUESTS_COUNTED = timedelta(hours=1)
REQUESTS_PER_ADDRESS = 3
REQUESTS_PER_CLIENT = 20
SEND = "accounts.send_password_link"


class TooManyRequests(WrongState):
    """Links were asked for from one place too often."""

    status = 429


@service
def ask_password_link(
    *, email: str, ip_address: str | None, acting_user: Actor
) -> None:
    """Send a link to set a new password by, if somebody signs in by this address.

    Whoever asks learns nothing from the answer: it is the same for an address that
    nobody has, and for one that was asked for too often.

    Raises
    ------
    TooManyRequests
        If too many links were asked for from one client, whatever for.
    """
    audit.nothing_changed()  # unless a link is wanted below, which leaves an entry
    email, now = email.strip().lower(), clock.now()
    PasswordRequest.objects.filter(asked_at__lt=now - REQUESTS_KEPT).delete()
    lately = PasswordRequest.objects.filter(asked_at__gt=now - REQUESTS_COUNTED)
    if lately.filter(ip_address=ip_address).count() >= REQUESTS_PER_CLIENT:
        raise TooManyRequests(
            "Too many links were asked for from here. Try again in an hour."
        )
    often = lately.filter(email=email).count() >= REQUESTS_PER_ADDRESS
    PasswordRequest.objects.create(email=email, ip_address=ip_address, asked_at=now)
    person = User.objects.filter(email=email, is_active=True).first()
    if person is None or often:
        return
    _want_link(person, Kind.RESET)
    audit.record("password.link_asked", person, actor=acting_user)


@service(may="people.change")
def invite_person(*, person: User, acting_user: Actor) -> PasswordLink:
    """Send a person a link, good for a week, to set their first password by.

    Raises
    ------
    WrongState
        If the person is deactivated.
    """
    if not person.is_active:
        raise WrongState(f"{person.name} is deactivated. Reactivate them first.")
    link = _want_link(person, Kind.INVITATION)
    audit.record(
        "person.invited", person, actor=acting_user, after={"email": person.email}
    )
    return link


@service(may="people.change")
def hand_over_link(*, person: User, acting_user: Actor) -> str:
    """Return an invitation's address, to be handed over in person and not by mail."""
    link = _make_link(person, Kind.INVITATION)
    audit.record("person.invited", person, actor=acting_user, after={"email": None})
    return make_address(link)


@service
def set_password_by_link(*, token: str, password: str, acting_user: Actor) -> User:
    """Set the password of whom a link was sent to, and end their sessions.

    The one-time code, where the role needs one, is still asked for.

    Raises
    ------
    WrongState
        If the link is unknown, used, too old, or was replaced by a newer one.
    NotAcceptable
        If the password is too weak.
    """
    link = find_link(token)
    person = link.person
    require_good_password(password, person)
    now = clock.now()
    unused = PasswordLink.objects.filter(pk=link.pk, used_at__isnull=True)
    if unused.update(used_at=now) != 1:
        raise WrongState("This link was used already. Ask for a new one.")
    person.password_links.filter(used_at__isnull=True).update(used_at=now)
    _set_password(person, password)
    actor = person if acting_user.pk is None else acting_user
    audit.record("password.set_by_link", person, actor=actor, after={"kind": link.kind})
    return person


@service(may="account.own")
def change_password(*, new: str, acting_user: User) -> User:
    """Change one's own password; all other sessions end.

    The view has asked for the present password before (and counted wrong ones).

    Raises
    ------
    NotAcceptable
        If the new password is too weak.
    """
    require_good_password(new, acting_user, field="new")
    _set_password(acting_user, new)
    acting_user.password_links.filter(used_at__isnull=True).update(used_at=clock.now())
    audit.record("password.changed", acting_user, actor=acting_user)
    return acting_user


def _want_link(person: User, kind: Kind) -> PasswordLink:
    """Make a link's row; the worker makes its secret and sends it."""
    link = _make_link(person, kind)
    enqueue(SEND, link.pk)
    return link


def _make_link(person: User, kind: Kind) -> PasswordLink:
    good_for = (
        INVITATION_GOOD_FOR
        if kind == Kind.INVITATION
        else timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT)
    )
    return PasswordLink.objects.create(
        person=person, kind=kind, expires_at=clock.now() + good_for
    )


def _set_password(person: User, password: str) -> None:
    person.password = make_password(password)
    person.save(update_fields=["password"])
