"""The ground floor's own pages: the record, the work, and refusals in words."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import audit
from lab.common.models import AuditEntry, WorkItem

pytestmark = pytest.mark.django_db


def failed_work() -> WorkItem:
    return WorkItem.objects.create(
        kind="common.seal_audit", object_id=4, state="failed", error="Boom."
    )


def test_the_record_shows_entries_and_the_newest_seal(people, sign_in) -> None:
    client = sign_in(Client(), people.quality)
    audit.seal_all()
    page = client.get(reverse("common:record"))
    assert page.status_code == 200
    assert audit.head() in page.content.decode()
    newest = AuditEntry.objects.latest("pk")
    one = client.get(
        reverse("common:record"),
        {"subject_type": newest.subject_type, "subject_id": newest.subject_id},
    )
    assert newest.words in one.content.decode()
    assert "Only entries about one record" in one.content.decode()


def test_a_made_up_page_of_the_record_is_refused_in_words(people, sign_in) -> None:
    client = sign_in(Client(), people.quality)
    page = client.get(reverse("common:record"), {"page": "nonsense"})
    assert page.status_code == 400
    assert "no such address" in page.content.decode()


def test_failed_work_is_shown_and_tried_again(people, sign_in) -> None:
    item = failed_work()
    client = sign_in(Client(), people.quality)
    assert "Boom." in client.get(reverse("common:work")).content.decode()
    answer = client.post(reverse("common:retry", args=[item.pk]))
    assert answer.status_code == 302
    item.refresh_from_db()
    assert item.state == "wanted"
    assert AuditEntry.objects.filter(verb="work.retried").exists()
    again = client.post(reverse("common:retry", args=[item.pk]))
    assert again.status_code == 409
    assert "Only work that failed" in again.content.decode()


@pytest.mark.parametrize("name", ["common:record", "common:work"])
def test_who_may_not_is_refused(people, sign_in, name: str) -> None:
    client = sign_in(Client(), people.technician)
    refused = client.get(reverse(name))
    assert refused.status_code == 403
    assert "not yours to open" in refused.content.decode()


def test_a_stranger_is_sent_to_sign_in() -> None:
    answer = Client().get(reverse("common:record"))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("accounts:login"))


def test_a_form_that_went_stale_is_refused_in_words(people, sign_in) -> None:
    client = sign_in(Client(enforce_csrf_checks=True), people.quality)
    refused = client.post(reverse("common:retry", args=[1]))
    assert refused.status_code == 403
    assert "gone stale" in refused.content.decode()


def test_retrying_is_posted(people, sign_in) -> None:
    client = sign_in(Client(), people.quality)
    assert client.get(reverse("common:retry", args=[1])).status_code == 405


def test_an_address_with_nothing_at_it_says_so(people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    page = client.get("/no/such/page/")
    assert page.status_code == 404
    assert "nothing at this address" in page.content.decode()
