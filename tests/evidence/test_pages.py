"""The pages of cases through HTTP: who sees them, who may act, what is refused."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django_otp.oath import totp
from django_otp.plugins.otp_totp.models import TOTPDevice

from lab.common.work.running import work_off
from lab.evidence.letters.content import content_of
from lab.evidence.letters.documents import letter_pdf
from lab.evidence.models import Case, Letter, Resumption, Telling
from lab.evidence.outstanding import dossier_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_evening")]


@pytest.fixture
def quality(people, sign_in) -> Client:
    return sign_in(Client(), people.quality)


def url(name: str, *args) -> str:
    return reverse(f"evidence:{name}", args=args)


def test_the_case_page_says_all_and_asks_little(people, sign_in, broken) -> None:
    address = url("detail", broken.case.pk)
    for person in (people.quality, people.technician):
        client = sign_in(Client(), person)
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(address)
        assert answer.status_code == 200
        assert len(queries) <= 15, "\n".join(q["sql"][:300] for q in queries)
    text = answer.content.decode()
    for said in (broken.certificate.number, "Ravelin Ropeways", "Not told yet", "Held"):
        assert said in text
    # A technician reads it and is offered no decision.
    assert url("assess", broken.case.pk) not in text
    assert url("name-job", broken.case.pk) in text


def test_cases_are_listed_open_ones_first_and_stand_on_the_job_and_board(
    lab, people, quality, broken, settle
) -> None:
    settle(lab, broken)
    Case.objects.filter(pk=broken.case.pk).update(state="closed")
    quality.post(
        url("open"),
        {
            "cause": "complaint",
            "title": "Too wide",
            "account": "By telephone.",
            "job": broken.certificate.job.number,
        },
    )
    newest = Case.objects.latest("pk")
    page = quality.get(url("list")).context["page"]
    assert list(page.rows) == [newest, broken.case]
    job = quality.get(reverse("board:job", args=[broken.certificate.job.number]))
    assert newest.title in job.content.decode()
    assert broken.case.title in job.content.decode()
    board = quality.get(reverse("home")).content.decode()
    assert newest.title in board
    assert broken.case.title not in board


def test_nobody_decides_who_is_not_the_quality_manager(people, sign_in, broken) -> None:
    pk, number = broken.case.pk, broken.certificate.number
    pages = [
        url("assess", pk),
        url("window", pk),
        url("decide", pk, number),
        url("action", pk),
        url("resume", pk),
        url("close", pk),
    ]
    client = sign_in(Client(), people.signatory)
    for page in pages:
        assert client.get(page).status_code == 403
        assert client.post(page, {}).status_code == 403
    outsider = sign_in(Client(), people.client)
    assert outsider.get(url("detail", pk)).status_code == 403
    assert not Resumption.objects.exists()


def test_each_step_is_a_form_and_a_wrong_one_comes_back(quality, broken, lab) -> None:
    pk, number = broken.case.pk, broken.certificate.number
    wrong = [
        (url("assess", pk), {"significance": "grave", "reason": "x"}),
        (url("decide", pk, number), {"outcome": "stands", "justification": "tbd"}),
        (url("window", pk), {"since": "2026-03-17T23:00", "reason": "Why not."}),
        (url("action", pk), {"what": "Mark the bars."}),
        (
            url("tell", pk, lab.customer.pk),
            {
                "way": "letter",
                "note": "Posted.",
                "told": "Mabel",
                "at": "2026-03-17T15:45",
            },
        ),
        (url("open"), {"cause": "other", "title": "T", "account": "A"}),
        (url("name-job", pk), {"job": "J-none"}),
    ]
    for page, typed in wrong:
        assert quality.post(page, typed).status_code == 400, page
    assert quality.get(url("decide", pk, "none")).status_code == 404
    right = [
        (url("assess", pk), {"significance": "none", "reason": "Within U."}),
        (url("decide", pk, number), {"outcome": "stands", "justification": "Within."}),
        (url("write", pk, lab.customer.pk), {"facts": "A check failed."}),
        (url("resume", pk), {"reason": "Adjusted."}),
    ]
    for page, typed in right:
        assert quality.post(page, typed).status_code == 302, page
    made = Letter.objects.get()
    told = {
        "way": "letter",
        "letter": made.pk,
        "told": "Mabel Orrin",
        "note": "Posted.",
        "at": "2026-03-17T15:45",
    }
    assert quality.post(url("tell", pk, lab.customer.pk), told).status_code == 302
    assert Telling.objects.get().letter == made
    assert quality.post(url("resume", pk), {"reason": "Twice."}).status_code == 400


def test_the_letter_names_the_certificates_and_is_kept(quality, broken, lab) -> None:
    pk = broken.case.pk
    facts = {"facts": "A check failed on 17 March.\nWe looked into it."}
    quality.post(url("write", pk, lab.customer.pk), facts)
    made = Letter.objects.get()
    assert quality.get(url("letter", made.pk)).status_code == 404
    work_off()
    paper = quality.get(url("letter", made.pk))
    assert b"".join(paper).startswith(b"%PDF")
    said = quality.get(url("letter-text", made.pk)).content.decode()
    for part in (
        broken.certificate.number,
        "A check failed on 17 March.",
        "still looking into it",
        "Mabel Orrin",
        "qualified person",
    ):
        assert part in said


def test_closing_shows_what_is_undone_and_else_asks_who_acts(
    quality, people, broken, lab, settle
) -> None:
    page = url("close", broken.case.pk)
    assert "Nobody has let the work go on" in quality.get(page).content.decode()
    assert quality.post(page, {}).status_code == 409
    settle(lab, broken)
    typed = {"words": "Bars are marked.", "password": "not it", "code": "000000"}
    assert quality.post(page, typed).status_code == 400
    assert Case.objects.get(pk=broken.case.pk).is_open
    device = TOTPDevice.objects.get(user=people.quality)
    right = typed | {
        "password": people.password,
        "code": f"{totp(device.bin_key, step=device.step, t0=device.t0):06d}",
    }
    assert quality.post(page, right).status_code == 302
    closed = Case.objects.get(pk=broken.case.pk)
    assert (closed.state, closed.closure.closed_by) == ("closed", people.quality)
    assert quality.post(page, right).status_code == 409
    said = quality.get(url("detail", closed.pk)).content.decode()
    assert "Bars are marked." in said
    assert url("assess", closed.pk) not in said


def test_a_letter_drawn_twice_is_the_same_to_the_byte(lab, broken, people) -> None:
    content = content_of(dossier_of(broken.case), lab.customer, "F.", people.quality)
    assert letter_pdf(content) == letter_pdf(content)
