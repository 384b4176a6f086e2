"""Impact: what leans on a thing, and what if; nothing is ever written by looking."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse

from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.common.models import AuditEntry
from lab.evidence.impact.leaning import leaning_on_check, leaning_on_device
from lab.evidence.impact.reading import read_only
from lab.evidence.impact.supposing import if_check_failed, if_device_was_wrong
from lab.evidence.models import Case
from lab.jobs.models import Hold
from lab.lapses.models import Finding
from tests import chain

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_evening")]

#: What signing in and visiting a page touch, whatever the page.
OF_THE_VISIT = {"Session"}


@pytest.fixture
def issued(lab):
    return chain.certificate(lab)


def row_counts() -> dict[str, int]:
    return {
        model.__name__: model._base_manager.count()
        for model in apps.get_models()
        if model.__name__ not in OF_THE_VISIT
    }


def test_what_leans_on_the_bar(lab, issued) -> None:
    leaning = leaning_on_device(lab.bar, chain.at(0), chain.at(20))
    assert set(leaning.systems) == {lab.system, lab.other_system}
    assert leaning.sessions == list(issued.job.sessions.all())
    assert leaning.certificates == [issued]
    assert [one.ended_at for one in leaning.checks] == [chain.at(8, 30), chain.at(12)]
    empty = leaning_on_device(lab.bar, chain.at(0, days=1), chain.at(0, days=2))
    assert (empty.sessions, empty.checks, empty.certificates) == ([], [], [])


@pytest.mark.parametrize(
    ("ended_at", "found"), [(chain.at(12), "Suspect"), (chain.at(8, 30), "Unchecked")]
)
def test_what_if_a_check_had_failed(lab, issued, ended_at, found) -> None:
    check = ArtefactCheck.objects.get(ended_at=ended_at)
    (one,) = if_check_failed(check, leaning_on_check(check))
    assert one.before == "bracketed"
    assert found in one.added
    assert one.after != "bracketed"


def test_what_if_a_device_had_been_wrong(lab, issued) -> None:
    def supposed(device, start, end):
        leaning = leaning_on_device(device, chain.at(0), chain.at(20))
        (one,) = if_device_was_wrong(device, start, end, leaning)
        return one.added

    assert supposed(lab.system.tracker, chain.at(9), chain.at(10)) == ("Suspect",)
    assert supposed(lab.system.tracker, chain.at(13), chain.at(14)) == ()
    # The bar was used at noon, in the check that closed the session of the morning.
    assert supposed(lab.bar, chain.at(11, 45), chain.at(13)) == ("Suspect",)
    assert supposed(lab.bar, chain.at(13), chain.at(14)) == ()


def test_looking_writes_nothing(lab, issued, people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    check = ArtefactCheck.objects.get(ended_at=chain.at(12))
    calibration = lab.bar.calibrations.get()
    client.get(reverse("home"))
    before = row_counts()
    pages = [
        reverse("evidence:device", args=[lab.bar.tag]) + "?wrong=1",
        reverse("evidence:device", args=[lab.system.tracker.tag]),
        reverse("evidence:calibration", args=[calibration.pk]),
        reverse("evidence:calibration", args=[calibration.pk]) + "?wrong=1",
        reverse("evidence:check", args=[check.pk]),
        reverse("evidence:check", args=[check.pk]) + "?failed=1",
    ]
    for page in pages:
        answer = client.get(page)
        assert answer.status_code == 200
        assert issued.number in answer.content.decode()
        assert "<svg" in answer.content.decode()
    assert "Suspect" in answer.content.decode()
    assert row_counts() == before
    for model in (Case, Finding, Hold):
        assert not model.objects.filter().exists()


def test_the_database_itself_refuses_to_write_meanwhile(lab, people) -> None:
    entries = AuditEntry.objects.count()
    with pytest.raises(DatabaseError), transaction.atomic(), read_only():
        Case.objects.create(cause="other", title="T", account="A")
    assert not Case.objects.exists()
    made = Case.objects.create(cause="other", title="T", account="A")
    assert Case.objects.get() == made
    assert AuditEntry.objects.count() == entries


def test_impact_is_no_page_of_a_client(lab, people, sign_in) -> None:
    client = sign_in(Client(), people.client)
    assert client.get(reverse("evidence:device", args=["SB-1"])).status_code == 403
    staff = sign_in(Client(), people.coordinator)
    assert staff.get(reverse("evidence:device", args=["none"])).status_code == 404
    assert staff.get(reverse("evidence:check", args=[98765])).status_code == 404
    assert clock.now() == chain.at(16)
