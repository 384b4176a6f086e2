"""The weekly mail about due dates: who gets it, when, and how it is sent once."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from smtplib import SMTPConnectError, SMTPServerDisconnected
from typing import Final

from django.conf import settings
from django.core.mail import send_mail
from django.template.loader import render_to_string

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.work.kinds import TryLater
from lab.equipment.due import due_by
from lab.equipment.models import DigestChoice, DueDigest
from lab.equipment.services.reminders import want_digests
from lab.laboratory.selectors import home_zone, the_laboratory

#: From when on a Monday's mail goes out, by the lab's clock.
SENT_FROM: Final = time(6)
AHEAD: Final = timedelta(days=60)
#: Who gets the mail without having asked for it.
BY_ROLE: Final = frozenset({Role.QUALITY})


def wants_digest(person: User) -> bool:
    choice = DigestChoice.objects.filter(person=person).first()
    return choice.is_wanted if choice else person.role in BY_ROLE


def recipients() -> list[User]:
    """Return the people who get the mail: those who chose it, or whose role does."""
    people = User.objects.filter(is_active=True).select_related("due_digest_choice")
    return [
        person
        for person in people
        if person.may("equipment.see")
        and (
            person.due_digest_choice.is_wanted
            if hasattr(person, "due_digest_choice")
            else person.role in BY_ROLE
        )
    ]


def monday(now: datetime) -> date:
    """Return the Monday whose mail is the newest that may have gone out by now."""
    local = now.astimezone(home_zone())
    first = local.date() - timedelta(days=local.weekday())
    is_early = local.date() == first and local.time() < SENT_FROM
    return first - timedelta(days=7) if is_early else first


def is_due() -> bool:
    """Tell whether somebody's mail of this week is still to be wanted.

    Before the laboratory is set up there is no Monday: its zone is not known.
    """
    if the_laboratory() is None:
        return False
    people = recipients()
    week = monday(clock.now())
    wanted = DueDigest.objects.filter(person__in=people, week=week).count()
    return wanted < len(people)


def want_this_week() -> int:
    """Want this week's mail for all who get it; where nothing is due none is sent."""
    now = clock.now()
    return want_digests(people=recipients(), week=monday(now), acting_user=PROGRAM)


def send_digest(digest_id: int) -> None:
    """Send one mail. It is claimed before it is sent, so that none goes out twice.

    Raises
    ------
    TryLater
        If the mail server can't be reached: nothing was sent, and the claim is given
        back. After any other failure the claim stays, and a person looks.
    """
    digest = DueDigest.objects.select_related("person").get(pk=digest_id)
    rows = DueDigest.objects.filter(pk=digest_id, claimed_at=None)
    if not digest.person.is_active or rows.update(claimed_at=clock.now()) != 1:
        return
    today = clock.today(home_zone())
    due = due_by(today + AHEAD)
    if due:
        _send(digest, due, today)
    DueDigest.objects.filter(pk=digest_id).update(sent_at=clock.now())


def _send(digest: DueDigest, due: object, today: date) -> None:
    text = render_to_string(
        "equipment/mail/digest.txt",
        {
            "person": digest.person,
            "due": due,
            "today": today,
            "site": settings.SITE_URL,
        },
    )
    subject = f"What falls due, week of {digest.week:%Y-%m-%d}"
    try:
        send_mail(subject, text, None, [digest.person.email])
    except (ConnectionError, SMTPConnectError) as problem:
        if isinstance(problem, SMTPServerDisconnected):
            raise
        DueDigest.objects.filter(pk=digest.pk).update(claimed_at=None)
        raise TryLater("The mail server could not be reached.") from problem
