"""Every write about feeds of due dates and the weekly mail."""

from __future__ import annotations

from datetime import date

from lab.accounts.models import User
from lab.accounts.secrets import digest_of, new_token
from lab.common import audit, clock
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.work import enqueue
from lab.equipment.models import CalendarFeed, DigestChoice, DueDigest


@service(may="equipment.see")
def make_feed(*, acting_user: User) -> str:
    """Make one's own secret address of due dates; an earlier one is void from now on.

    Returns the secret, which is stored nowhere and can't be shown again.
    """
    # The person's row makes two who make an address at once wait for one another.
    User.objects.select_for_update().get(pk=acting_user.pk)
    _revoke_open(acting_user)
    token = new_token()
    CalendarFeed.objects.create(person=acting_user, digest=digest_of(token))
    audit.record("calendar_feed.made", acting_user, actor=acting_user)
    return token


@service(may="equipment.see")
def revoke_feed(*, acting_user: User) -> None:
    """Make one's own address void.

    Raises
    ------
    WrongState
        If there is none.
    """
    if not _revoke_open(acting_user):
        raise WrongState("There is no calendar address to revoke.")
    audit.record("calendar_feed.revoked", acting_user, actor=acting_user)


@service(may="equipment.see")
def choose_digest(*, is_wanted: bool, acting_user: User) -> DigestChoice:
    """Choose whether to get the weekly mail about due dates."""
    choice, is_new = DigestChoice.objects.get_or_create(
        person=acting_user, defaults={"is_wanted": is_wanted}
    )
    if not is_new and choice.is_wanted == is_wanted:
        audit.nothing_changed()
        return choice
    choice.is_wanted = is_wanted
    choice.save(update_fields=["is_wanted"])
    after = {"is_wanted": is_wanted}
    audit.record("due_digest.chosen", acting_user, actor=acting_user, after=after)
    return choice


@service
def want_digests(*, people: list[User], week: date, acting_user: Actor) -> int:
    """Want a week's mail for each person who has none yet; return for how many."""
    wanted = 0
    for person in people:
        digest, is_new = DueDigest.objects.get_or_create(person=person, week=week)
        if is_new:
            enqueue("equipment.send_digest", digest.pk)
            audit.record("due_digest.wanted", person, actor=acting_user)
            wanted += 1
    if not wanted:
        audit.nothing_changed()
    return wanted


def _revoke_open(person: User) -> bool:
    there = CalendarFeed.objects.filter(person=person, revoked_at=None)
    return there.update(revoked_at=clock.now()) > 0
