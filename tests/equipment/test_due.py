"""Due dates: the list and strip, the weekly mail, the calendar's secret address."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.common import clock
from lab.common.errors import NotAllowed, WrongState
from lab.common.models import AuditEntry, WorkItem
from lab.common.work.kinds import TryLater
from lab.common.work.running import work_off
from lab.equipment import digests
from lab.equipment.due import due_days, rows_of, strip_of
from lab.equipment.models import CalendarFeed, Device, DueDigest
from lab.equipment.services import (
    choose_digest,
    make_feed,
    plan_maintenance,
    revoke_feed,
    set_status,
)
from tests import chain

pytestmark = pytest.mark.django_db
#: A Monday, at seven in the morning by the lab's clock.
MONDAY = datetime(2026, 3, 23, 7, tzinfo=UTC)


@pytest.fixture
def lab(people) -> chain.Lab:
    made = chain.found_lab(people)
    plan_maintenance(
        device=made.system.tracker,
        title="Clean the optics",
        every_days=30,
        first_due_on=date(2026, 3, 1),
        acting_user=people.technician,
    )
    return made


def feed_of(token: str):
    return Client().get(reverse("equipment:calendar", args=[token]))


def test_what_falls_due_is_listed_soonest_first(people, lab) -> None:
    with clock.set_to(MONDAY):
        due = due_days(chain.DAY)
        assert (due[0].what, due[0].on) == ("Clean the optics", date(2026, 3, 1))
        assert [one.on for one in due] == sorted(one.on for one in due)
        tags = {one.device.tag for one in due if one.what == "Calibration"}
        calibrated = Device.objects.exclude(calibrations=None)
        assert tags == set(calibrated.values_list("tag", flat=True))
        gone = next(one.device for one in due if one.what == "Calibration")
        set_status(
            device=gone,
            status="out of service",
            reason="Bent.",
            acting_user=people.quality,
        )
        assert gone.tag not in {one.device.tag for one in due_days(chain.DAY)}


def test_the_strip_has_twelve_months_and_the_overdue_in_the_first(lab) -> None:
    today = date(2026, 12, 31)
    with clock.set_to(datetime(2026, 12, 31, 12, tzinfo=UTC)):
        strip = strip_of(rows_of(due_days(today), today), today)
    assert strip.months[0] == date(2026, 12, 1)
    assert strip.months[-1] == date(2027, 11, 1)
    assert len(strip.months) == 12
    line = next(one for one in strip.rows if one.device == lab.system.tracker)
    assert "Overdue" in {row.word for row in line.months[0]}


def test_the_page_shows_both_in_few_queries(
    sign_in, people, lab, django_assert_max_num_queries
) -> None:
    client = sign_in(Client(), people.coordinator)
    with django_assert_max_num_queries(20):
        shown = client.get(reverse("equipment:due")).content.decode()
    assert "Twelve months" in shown
    assert "Clean the optics" in shown


# --- The calendar ---------------------------------------------------------------------


def test_a_calendar_tells_due_dates_without_a_session(people, lab) -> None:
    token = make_feed(acting_user=people.technician)
    assert token not in str(CalendarFeed.objects.values_list())
    answer = feed_of(token)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer["Cache-Control"] == "private, no-store"
    calendar = Calendar.from_ical(answer.content)
    events = calendar.walk("VEVENT")
    with clock.set_to(MONDAY):
        due = due_days(chain.DAY)
    assert {event["UID"] for event in events} == {
        f"{one.key}@{event['UID'].rpartition('@')[2]}"
        for one in due
        for event in events[:1]
    }
    first = next(event for event in events if "clean the optics" in event["SUMMARY"])
    assert first["DTSTART"].dt == date(2026, 3, 1)
    assert first["DTEND"].dt == date(2026, 3, 2)
    text = answer.content.decode()
    assert lab.customer.name not in text
    assert lab.contact.name not in text


def test_an_address_is_shown_once_remade_and_revoked(sign_in, people, lab) -> None:
    client = sign_in(Client(), people.technician)
    make, revoke = reverse("equipment:make-feed"), reverse("equipment:revoke-feed")
    assert client.get(make).status_code == 405
    shown = client.post(make)
    first = shown.content.decode().partition("calendar/")[2].partition(".ics")[0]
    assert feed_of(first).status_code == 200
    assert "no-store" in shown["Cache-Control"]
    assert first not in client.get(reverse("equipment:reminders")).content.decode()
    second = make_feed(acting_user=people.technician)
    assert feed_of(first).status_code == 404
    assert feed_of(second).status_code == 200
    assert client.post(revoke).status_code == 302
    assert feed_of(second).status_code == 404
    assert client.post(revoke).status_code == 409
    verbs = AuditEntry.objects.filter(verb__startswith="calendar_feed")
    assert [entry.verb for entry in verbs.order_by("pk")] == [
        "calendar_feed.made",
        "calendar_feed.made",
        "calendar_feed.revoked",
    ]
    assert not [entry for entry in verbs if second in entry.values_text]


@pytest.mark.parametrize("token", ["x", "A" * 22, "..", "%00", "a" * 500])
def test_a_wrong_secret_finds_nothing(lab, token: str) -> None:
    assert feed_of(token).status_code == 404


def test_a_secret_ends_with_the_person_and_the_role(people, lab) -> None:
    token = make_feed(acting_user=people.technician)
    User.objects.filter(pk=people.technician.pk).update(role=Role.CLIENT)
    assert feed_of(token).status_code == 404
    User.objects.filter(pk=people.technician.pk).update(
        role=Role.TECHNICIAN, is_active=False
    )
    assert feed_of(token).status_code == 404
    User.objects.filter(pk=people.technician.pk).update(is_active=True)
    assert feed_of(token).status_code == 200


def test_a_client_makes_no_address(people, lab) -> None:
    with pytest.raises(NotAllowed):
        make_feed(acting_user=people.client)
    with pytest.raises(WrongState, match="no calendar address"):
        revoke_feed(acting_user=people.technician)


# --- The weekly mail ------------------------------------------------------------------


def sent_to() -> list[str]:
    return sorted(address for one in mail.outbox for address in one.to)


def test_the_mail_goes_once_a_week_to_who_gets_it(people, lab) -> None:
    choose_digest(is_wanted=True, acting_user=people.technician)
    with clock.set_to(MONDAY):
        assert digests.is_due()
        assert digests.want_this_week() == 2
        work_off()
        assert not digests.is_due()
        assert digests.want_this_week() == 0
        work_off()
        assert sent_to() == sorted([people.quality.email, people.technician.email])
        assert "2026-03-01" in mail.outbox[0].body
        assert "Clean the optics (overdue)" in mail.outbox[0].body
    with clock.set_to(MONDAY + timedelta(days=7)):
        choose_digest(is_wanted=False, acting_user=people.quality)
        assert digests.want_this_week() == 1


@pytest.mark.parametrize(
    ("now", "week"),
    [
        (datetime(2026, 3, 23, 5, 59, tzinfo=UTC), date(2026, 3, 16)),
        (datetime(2026, 3, 23, 6, 0, tzinfo=UTC), date(2026, 3, 23)),
        (datetime(2026, 3, 29, 22, 30, tzinfo=UTC), date(2026, 3, 23)),
        (datetime(2026, 3, 30, 5, 0, tzinfo=UTC), date(2026, 3, 30)),
    ],
)
def test_a_week_begins_on_monday_by_the_labs_clock(
    lab, now: datetime, week: date
) -> None:
    # On 29 March 2026 British clocks go forward: six o'clock is five in UTC after it.
    assert digests.monday(now) == week


def test_a_claimed_mail_is_never_sent_twice(people, lab, monkeypatch) -> None:
    digest = DueDigest.objects.create(person=people.quality, week=MONDAY.date())

    def unreachable(*_args, **_other) -> None:
        raise ConnectionRefusedError

    def dies_late(*_args, **_other) -> None:
        raise RuntimeError("after the server took it")

    with clock.set_to(MONDAY):
        with monkeypatch.context() as patch:
            patch.setattr(digests, "send_mail", unreachable)
            with pytest.raises(TryLater):
                digests.send_digest(digest.pk)
        digest.refresh_from_db()
        assert digest.claimed_at is None
        with monkeypatch.context() as patch:
            patch.setattr(digests, "send_mail", dies_late)
            with pytest.raises(RuntimeError):
                digests.send_digest(digest.pk)
        digests.send_digest(digest.pk)
    digest.refresh_from_db()
    assert (digest.claimed_at, digest.sent_at) == (MONDAY, None)
    assert mail.outbox == []


def test_no_mail_is_sent_where_nothing_falls_due(people) -> None:
    chain.found_lab(people)
    with clock.set_to(datetime(2026, 3, 17, 9, tzinfo=UTC)):
        for device in Device.objects.all():
            set_status(
                device=device,
                status="out of service",
                reason="The lab moves.",
                acting_user=people.quality,
            )
        digests.want_this_week()
        work_off()
    assert mail.outbox == []
    assert DueDigest.objects.get().sent_at is not None


def test_the_page_of_reminders_chooses_the_mail(sign_in, people, lab) -> None:
    client = sign_in(Client(), people.coordinator)
    page, choose = reverse("equipment:reminders"), reverse("equipment:choose-digest")
    assert "You get no mail" in client.get(page).content.decode()
    assert client.post(choose, {"wanted": "yes"}).status_code == 302
    assert "Send me none" in client.get(page).content.decode()
    assert not WorkItem.objects.filter(kind="equipment.send_digest").exists()
