"""Links to set a password by: made when they are sent, found by their digest."""

from __future__ import annotations

from django.conf import settings
from django.core.mail import send_mail
from django.template.loader import render_to_string
from django.urls import reverse

from lab.accounts.models import PasswordLink, User
from lab.accounts.secrets import digest_of, new_token
from lab.common import clock
from lab.common.errors import WrongState

SUBJECTS = {
    PasswordLink.Kind.INVITATION: "Your account in Unbroken",
    PasswordLink.Kind.RESET: "A new password for Unbroken",
}


def find_link(token: str) -> PasswordLink:
    """Return the link that a token belongs to, while it is good.

    Raises
    ------
    WrongState
        In one sentence for every reason: unknown, used, too old, person gone.
    """
    link = (
        PasswordLink.objects.filter(
            digest=digest_of(token),
            used_at__isnull=True,
            expires_at__gt=clock.now(),
            person__is_active=True,
        )
        .select_related("person")
        .first()
    )
    if link is None:
        raise WrongState(
            "This link is not good any more: it was used, it is too old, or a newer "
            "one was sent. Ask for a new one."
        )
    return link


def address_of(token: str) -> str:
    """Return a link's address: always the configured site's, whoever asked."""
    return settings.SITE_URL + reverse("accounts:set_password", args=[token])


def make_address(link: PasswordLink) -> str:
    """Give a link its secret and return the address; an earlier secret is void."""
    token = new_token()
    PasswordLink.objects.filter(pk=link.pk).update(digest=digest_of(token))
    return address_of(token)


def send_link(link_id: int) -> None:
    """Send a wanted link by mail. Run again, it sends a new secret in place of the old.

    Nothing is sent for a link that was used, ran out, or belongs to somebody who
    was deactivated meanwhile.
    """
    link = PasswordLink.objects.select_related("person").get(pk=link_id)
    person: User = link.person
    if link.used_at or link.expires_at <= clock.now() or not person.is_active:
        return
    text = render_to_string(
        f"accounts/mail/{link.kind}.txt",
        {"person": person, "link": link, "address": make_address(link)},
    )
    send_mail(SUBJECTS[PasswordLink.Kind(link.kind)], text, None, [person.email])
