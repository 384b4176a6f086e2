"""Pages that only show: open to the staff, closed to clients, quick to count."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from lab.common import clock

STAFF = ["coordinator", "technician", "signatory", "quality", "administrator"]


@pytest.fixture
def pages(house: Any, people: Any, revise: Any, grant: Any, noon: Any) -> list[str]:
    with clock.set_to(noon):
        revision = revise("1", noon.date())
        authorisation = grant(people.technician, "measure")
    return [
        reverse("laboratory:overview"),
        reverse("laboratory:methods"),
        reverse("laboratory:method", args=[house.method.code]),
        reverse("laboratory:revision", args=[revision.pk]),
        reverse("laboratory:authorisations"),
        reverse("laboratory:authorisation", args=[authorisation.pk]),
        reverse("laboratory:rules"),
        reverse("laboratory:rule", args=[house.rule.rule.pk]),
    ]


@pytest.mark.parametrize("part", STAFF)
def test_staff_read_every_page(part: str, pages: list[str], as_: Any) -> None:
    client = as_(part)
    assert {url: client.get(url).status_code for url in pages} == dict.fromkeys(
        pages, 200
    )


def test_a_client_reads_none(pages: list[str], as_: Any) -> None:
    client = as_("client")
    assert {client.get(url).status_code for url in pages} == {403}


def test_an_outsider_is_sent_to_the_login(pages: list[str], client: Any) -> None:
    for url in pages:
        answer = client.get(url)
        assert answer.status_code == 302
        assert answer.url.startswith(reverse("accounts:login"))


def test_reading_pages_take_no_post(pages: list[str], as_: Any) -> None:
    client = as_("quality")
    assert {client.post(url).status_code for url in pages} == {405}
