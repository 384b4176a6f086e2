"""Signing in and out, alone or on a tablet that several people share."""

from __future__ import annotations

from django.db.models import F

from lab.accounts.models import Tablet, TabletPerson, User
from lab.accounts.secrets import digest_of, new_token
from lab.common import audit, clock
from lab.common.services import service


@service(may="account.own")
def record_sign_in(*, tablet: Tablet | None, acting_user: User) -> None:
    """Record that a person is fully in, and remember them on a shared tablet."""
    if tablet is not None:
        TabletPerson.objects.update_or_create(
            tablet=tablet, person=acting_user, defaults={"last_at": clock.now()}
        )
    audit.record(
        "person.signed_in",
        acting_user,
        actor=acting_user,
        after={"tablet": tablet.pk if tablet else None},
    )


@service(may="account.own")
def record_sign_out(*, acting_user: User) -> None:
    """Record that a person signed out, or handed the tablet over."""
    audit.record("person.signed_out", acting_user, actor=acting_user)


@service(may="account.own")
def share_tablet(*, token: str, acting_user: User) -> tuple[Tablet, str]:
    """Return the tablet that a cookie's token names, and its token.

    A token that is none of ours gets a tablet of its own and a new token.
    """
    tablet = Tablet.objects.filter(digest=digest_of(token)).first() if token else None
    if tablet is not None:
        audit.nothing_changed()
        return tablet, token
    token = new_token()
    tablet = Tablet.objects.create(digest=digest_of(token))
    audit.record("tablet.shared", tablet, actor=acting_user)
    return tablet, token


@service(may="account.own")
def end_all_sessions(*, acting_user: User) -> User:
    """End every session of a person; the view signs its own one in again."""
    User.objects.filter(pk=acting_user.pk).update(
        sessions_ended=F("sessions_ended") + 1
    )
    person = User.objects.get(pk=acting_user.pk)
    audit.record("person.sessions_ended", person, actor=acting_user)
    return person
