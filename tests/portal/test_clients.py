"""What a client contact sees: their own customer's work in plain words, and no more."""

from __future__ import annotations

import pytest
from django.test import Client

from lab.common import clock
from lab.jobs.models import JobState
from lab.jobs.services import raise_hold
from lab.portal.words import PLAIN_WORDS
from tests import chain
from tests.portal.conftest import PDF

pytestmark = pytest.mark.django_db
STAFF = [
    "coordinator",
    "technician",
    "signatory",
    "quality",
    "administrator",
]


@pytest.fixture(autouse=True)
def _afternoon():
    with clock.set_to(chain.at(15)):
        yield


@pytest.fixture
def pages(job, certify) -> list[str]:
    """Every page of the portal that belongs to the job's customer."""
    made = certify()
    return [
        "/portal/",
        f"/portal/jobs/{job.number}/",
        f"/portal/certificates/{made.number}/",
    ]


def words(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_client_sees_their_jobs_in_plain_words(as_, people, job) -> None:
    page = words(as_(people.client), "/portal/")
    assert job.number in page
    assert "Booked: we await your items" in page
    assert job.order_number in page
    assert "No certificate has been issued for you yet" in page


def test_every_state_of_a_job_has_plain_words() -> None:
    assert set(PLAIN_WORDS) == set(JobState)
    assert len(set(PLAIN_WORDS.values())) == len(PLAIN_WORDS)


def test_a_job_page_has_status_items_and_documents(as_, people, lab, certify) -> None:
    job = chain.ready_job(lab)
    certify(job=job)
    page = words(as_(people.client), f"/portal/jobs/{job.number}/")
    for said in ("Received: your items are here", "RR-1-700", "RR-1-701", "C2026-0001"):
        assert said in page
    assert "2026-03-17 08:00 +00:00" in page


def test_a_job_page_tells_of_no_hold_and_of_none_of_the_labs_people(
    as_, people, lab
) -> None:
    job, _ = chain.measured_job(lab)
    raise_hold(
        job=job,
        cause_key="person:1",
        title="A target was seen to be loose",
        reason="Seen by the technician.",
        acting_user=people.technician,
    )
    client = as_(people.client)
    for path in ("/portal/", f"/portal/jobs/{job.number}/"):
        page = words(client, path)
        assert "Being measured" in page
        staff = [people.coordinator, people.technician, people.quality]
        for secret in ("loose", "hold", lab.system.name, *[p.name for p in staff]):
            assert secret not in page


def test_a_certificate_is_handed_over_as_a_file(as_, people, certify) -> None:
    made = certify()
    answer = as_(people.client).get(f"/portal/certificates/{made.number}/")
    assert answer.status_code == 200
    assert b"".join(answer.streaming_content) == PDF
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'attachment; filename="C2026-0001.pdf"'
    assert answer["Cache-Control"] == "private, no-store"


def test_how_each_certificate_stands_is_said_beside_it(
    as_, people, certify, withdraw
) -> None:
    certify(amends=certify())
    certify(replaces=certify())
    withdraw(certify())
    page = words(as_(people.client), "/portal/")
    for word in ("Current", "Amended", "Superseded", "Withdrawn"):
        assert f">{word}</span>" in page


def test_a_document_that_is_still_being_drawn_is_said_to_be(
    as_, people, certify
) -> None:
    made = certify(drawn=False)
    client = as_(people.client)
    assert "the document is being drawn" in words(client, "/portal/")
    answer = client.get(f"/portal/certificates/{made.number}/")
    assert answer.status_code == 409
    assert "Try again in a moment" in answer.content.decode()


# --- Who may ------------------------------------------------------------------------


def test_each_page_opens_to_its_client(as_, people, pages, statuses) -> None:
    client = as_(people.client)
    assert statuses(client, pages) == [200] * 3


def test_another_customers_client_finds_nothing(
    as_, stranger, pages, statuses, job
) -> None:
    client = as_(stranger)
    assert statuses(client, pages) == [200, 404, 404]
    page = words(client, "/portal/")
    assert job.number not in page
    assert "C2026-0001" not in page
    assert "There is no job of yours yet" in page


def test_a_contact_out_of_use_finds_nothing(as_, people, lab, pages, statuses) -> None:
    lab.contact.in_use = False
    lab.contact.save(update_fields=["in_use"])
    client = as_(people.client)
    assert statuses(client, pages) == [200, 404, 404]


def test_what_there_is_none_of_is_not_found(as_, people, lab) -> None:
    client = as_(people.client)
    assert client.get("/portal/jobs/J9999/").status_code == 404
    assert client.get("/portal/certificates/C9999/").status_code == 404


@pytest.mark.parametrize("part", STAFF)
def test_staff_have_their_own_pages(as_, people, pages, statuses, part) -> None:
    client = as_(getattr(people, part))
    assert statuses(client, pages) == [403] * 3


def test_whoever_is_not_signed_in_is_asked_to(pages) -> None:
    for path in pages:
        answer = Client().get(path)
        assert answer.status_code == 302
        assert answer.url.startswith("/people/sign-in/")


def test_the_pages_only_show(as_, people, pages) -> None:
    client = as_(people.client)
    assert [client.post(path).status_code for path in pages] == [405] * 3


def test_a_client_sees_no_navigation_of_the_staff(as_, people, job) -> None:
    page = words(as_(people.client), "/portal/")
    navigation = page.partition("<nav")[2].partition("</nav>")[0]
    assert navigation.count("<a ") == 1
    assert 'href="/portal/" aria-current="true">Your jobs' in navigation
    board = words(as_(people.technician), "/people/me/")
    assert "Your jobs" not in board
    assert ">Board</a>" in board


def test_the_front_page_leads_a_client_to_their_jobs(as_, people) -> None:
    assert as_(people.client).get("/").url == "/portal/"


def test_the_list_asks_the_database_no_more_for_many_than_for_one(
    as_, people, lab, certify, django_assert_max_num_queries
) -> None:
    for number in range(6):
        with clock.set_to(chain.at(9, number)):
            chain.book(lab, serials=[f"RR-1-8{number}"])
        certify()
    client = as_(people.client)
    with django_assert_max_num_queries(12):
        assert words(client, "/portal/").count("Your order") == 7
