"""A device that is away is out of use; another may stand in for it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry
from lab.equipment.models import Device, Dispatch, Provider, StandIn
from lab.equipment.selectors import is_in_service, standings
from lab.equipment.services import bring_back, keep_provider, name_stand_in, send_out
from tests.equipment.calibrated import (
    TODAY,
    accepted,
    add_bar,
    add_logger,
    found_laboratory,
)

pytestmark = pytest.mark.django_db
DAY = TODAY.date()


@pytest.fixture(autouse=True)
def today():
    found_laboratory()
    with clock.set_to(TODAY):
        yield


@pytest.fixture
def bar(people) -> Device:
    made = add_bar(people)
    accepted(people, made, DAY - timedelta(days=300))
    return made


@pytest.fixture
def provider(people) -> Provider:
    return keep_provider(
        name="Headland Calibration Service", lead_days=21, acting_user=people.technician
    )


def send(people, bar: Device, provider: Provider, **changes: Any) -> Dispatch:
    typed = {
        "device": bar,
        "provider": provider,
        "sent_on": DAY,
        "expected_back": DAY + timedelta(days=21),
        "carrier": "Sluice Road Couriers",
        "purpose": "Calibration",
        "acting_user": people.technician,
    }
    return send_out(**(typed | changes))


def test_a_device_that_is_away_is_out_of_use_until_it_is_back(
    people, bar, provider
) -> None:
    assert is_in_service(bar)
    send(people, bar, provider)
    assert not is_in_service(bar)
    (standing,) = standings(Device.objects.filter(pk=bar.pk))
    assert (standing.word, standing.shape) == ("Away for calibration", "state-off")
    with pytest.raises(WrongState, match="is away already"):
        send(people, bar, provider)
    bring_back(
        device=bar,
        returned_on=DAY,
        condition="Undamaged.",
        acting_user=people.technician,
    )
    assert is_in_service(bar)
    with pytest.raises(WrongState, match="is not away"):
        bring_back(
            device=bar,
            returned_on=DAY,
            condition="Again.",
            acting_user=people.technician,
        )
    verbs = set(AuditEntry.objects.values_list("verb", flat=True))
    assert {"device.sent_out", "device.came_back"} <= verbs


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"sent_on": date(2026, 4, 2)}, "lies in the future"),
        ({"expected_back": date(2026, 3, 1)}, "before it is sent"),
        ({"carrier": "n/a"}, "only holds the place"),
    ],
)
def test_a_dispatch_without_sense_is_refused(
    people, bar, provider, changes, message: str
) -> None:
    with pytest.raises(NotAcceptable, match=message):
        send(people, bar, provider, **changes)
    assert is_in_service(bar)


def test_it_can_t_be_back_before_it_was_sent(people, bar, provider) -> None:
    send(people, bar, provider)
    with pytest.raises(NotAcceptable, match="can't be back before"):
        bring_back(
            device=bar,
            returned_on=DAY - timedelta(days=1),
            condition="Undamaged.",
            acting_user=people.technician,
        )


def test_a_stand_in_is_another_of_the_same_kind(people, bar) -> None:
    other, logger = add_bar(people, "SB-9"), add_logger(people)
    for wrong in (bar, logger):
        with pytest.raises(NotAcceptable, match="can stand in for SB-2"):
            name_stand_in(device=bar, stand_in=wrong, acting_user=people.technician)
    for _ in range(2):
        name_stand_in(device=bar, stand_in=other, acting_user=people.technician)
    assert StandIn.objects.count() == 1
    assert AuditEntry.objects.filter(verb="device.stand_in_named").count() == 1


def test_a_provider_is_kept_once_by_name(people, provider) -> None:
    same = {"name": "headland calibration service", "acting_user": people.technician}
    keep_provider(lead_days=14, **same)
    assert Provider.objects.get().lead_days == 14
    keep_provider(lead_days=14, **same)
    assert AuditEntry.objects.filter(verb="provider.kept").count() == 2
    with pytest.raises(NotAcceptable, match="0 to 365"):
        keep_provider(lead_days=999, **same)


def test_a_device_is_sent_and_received_on_the_pages(
    people, bar, provider, sign_in
) -> None:
    client = sign_in(Client(), people.technician)
    other = add_bar(people, "SB-9")
    named = client.post(
        reverse("equipment:stand-in", args=["SB-2"]), {"stand_in": other.pk}
    )
    assert named.status_code == 302
    page = reverse("equipment:send", args=["SB-2"])
    form = client.get(page).context["form"]
    # The provider of the last calibration, and its lead time from today on.
    assert form["provider"].value() == provider.pk
    assert form["expected_back"].value() == DAY + timedelta(days=21)
    typed = {
        "provider": provider.pk,
        "sent_on": "2026-04-01",
        "expected_back": "2026-04-22",
        "carrier": "Sluice Road Couriers",
        "purpose": "Calibration",
    }
    assert client.post(page, typed).status_code == 302
    assert client.post(page, typed).status_code == 400
    detail = client.get(reverse("equipment:detail", args=["SB-2"])).content.decode()
    assert "Sluice Road Couriers" in detail
    assert "SB-9" in detail
    back = {"returned_on": "2026-04-01", "condition": "Undamaged."}
    page = reverse("equipment:back", args=["SB-2"])
    assert client.post(page, back).status_code == 302
    assert client.post(page, back).status_code == 400
    stand_in = StandIn.objects.get()
    drop = reverse("equipment:drop-stand-in", args=["SB-2", stand_in.pk])
    assert client.get(drop).status_code == 405
    assert client.post(drop).status_code == 302
    assert client.post(drop).status_code == 404
    assert sign_in(Client(), people.coordinator).get(page).status_code == 403


def test_providers_are_listed_and_kept_on_their_page(people, sign_in) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:providers")
    assert client.post(page, {"name": "Headland", "lead_days": "x"}).status_code == 400
    assert client.post(page, {"name": "Headland", "lead_days": 20}).status_code == 302
    assert "20 days" in client.get(page).content.decode()
