"""The pages of checks open for whom they should, and for nobody else."""

from __future__ import annotations

import pytest
from django.template.loader import get_template
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "name", ["checks/record.html#verdicts", "inspections/record.html#verdict"]
)
def test_the_parts_that_pages_ask_for_are_there(name: str) -> None:
    assert get_template(name)


def test_a_check_is_recorded_on_a_page_and_shown(people, sign_in, check) -> None:
    made = check()
    client = sign_in(Client(), people.technician)
    code = made.procedure.procedure.code
    record = reverse("checks:record", args=[made.system_id, code])
    assert client.get(record).status_code == 200
    for name, keys in (
        ("checks:list", []),
        ("checks:system", [made.system_id]),
        ("checks:detail", [made.pk]),
        ("checks:procedures", []),
        ("checks:procedure", [code]),
        ("environment:rooms", []),
    ):
        assert client.get(reverse(name, args=keys)).status_code == 200
    assert client.post(record, {}).status_code == 400
    reader = sign_in(Client(), people.coordinator)
    assert reader.get(record).status_code == 403
    assert sign_in(Client(), people.client).get(record).status_code == 403
    assert Client().get(record).status_code == 302
