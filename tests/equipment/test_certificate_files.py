"""A digital certificate: brought, looked through, confirmed, recorded; or refused."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import storages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.errors import NotAcceptable, TooLarge
from lab.common.files.models import StoredFile
from lab.common.files.store import read_file
from lab.common.models import AuditEntry
from lab.equipment.models import Calibration, CertificateFile, Device
from lab.equipment.services import keep_certificate
from tests.equipment.calibrated import (
    A_TO_B,
    TODAY,
    accepted,
    add_bar,
    add_logger,
    found_laboratory,
)
from tests.equipment.dcc.certificates import certificate, sensor_table, signed

pytestmark = pytest.mark.django_db
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha">'
    + b"".join(
        b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(9)
    )
    + b"]><l>&j;</l>"
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
    b"<l>&e;</l>"
)
DEEP = b"<l>" * 100_000 + b"</l>" * 100_000


@pytest.fixture(autouse=True)
def today():
    found_laboratory()
    with clock.set_to(TODAY):
        yield


@pytest.fixture
def bar(people) -> Device:
    made = add_bar(people)
    accepted(people, made, TODAY.date() - timedelta(days=300))
    return made


@pytest.fixture
def bring(people, sign_in, bar) -> Callable[[bytes], Any]:
    client = sign_in(Client(), people.technician)

    def send(blob: bytes) -> Any:
        upload = SimpleUploadedFile("certificate.xml", blob)
        page = reverse("equipment:bring", args=[bar.tag])
        return client, client.post(page, {"upload": upload})

    return send


def folder() -> set[Path]:
    root = Path(storages["records"].location)
    return {path for path in root.rglob("*") if path.is_file()}


def confirmed(form: Any, **changes: str) -> dict[str, str]:
    """Return what a browser posts when a person changes some fields of a form."""
    fields = {}
    for one in [form, *form.rows.forms, form.rows.management_form]:
        for bound in one:
            value = bound.value()
            widget = bound.field.widget
            if hasattr(widget, "widgets"):
                value = value if isinstance(value, list) else widget.decompress(value)
                for part, text in zip(("text", "unit"), value, strict=True):
                    fields[f"{bound.html_name}_{part}"] = text
            elif value not in (None, False):
                fields[bound.html_name] = "on" if value is True else str(value)
    return fields | changes


def test_a_certificate_is_brought_looked_through_and_recorded(bring, bar) -> None:
    blob = signed(certificate(), made_at=TODAY - timedelta(days=30))
    client, answer = bring(blob)
    assert answer.status_code == 302
    preview = client.get(answer.url)
    text = preview.content.decode()
    assert "signed, unchanged" in text
    assert "the same mark" in text
    form = preview.context["form"]
    # The one length of the file has the name of the one length of the device.
    assert form.rows.forms[0]["label"].value() == A_TO_B

    typed = confirmed(form, counts_from="2026-03-30", due_on="2027-03-29")
    typed |= {"requirement_met": "on"}
    unseen = client.post(answer.url, typed)
    assert unseen.status_code == 400
    assert "Confirm it" in unseen.content.decode()
    assert Calibration.objects.count() == 1

    done = client.post(answer.url, typed | {"temperature_seen": "on"})
    assert done.status_code == 302
    made = Calibration.objects.get(certificate_number="HC-2026-0117")
    value = made.values.get()
    assert (str(value.value), str(value.expanded_u)) == ("1200.0463 mm", "0.0028 mm")
    assert str(value.temperature) == "20.00 °C"
    assert read_file(made.document) == blob
    assert not made.is_decided
    again = client.post(answer.url, typed | {"temperature_seen": "on"})
    assert again.status_code == 400
    entry = AuditEntry.objects.get(verb="certificate_file.read")
    assert '"signature":"intact"' in entry.values_text


def test_an_absent_temperature_is_typed(bring) -> None:
    client, answer = bring(certificate(conditions=""))
    preview = client.get(answer.url)
    assert "look it up in the certificate" in preview.content.decode()
    typed = confirmed(
        preview.context["form"],
        counts_from="2026-03-30",
        due_on="2027-03-29",
        temperature_seen="on",
    )
    refused = client.post(answer.url, typed)
    assert "Type a number and its unit" in refused.content.decode()
    typed |= {"temperature_text": "23.0", "temperature_unit": "°C"}
    assert client.post(answer.url, typed).status_code == 302
    made = Calibration.objects.get(certificate_number="HC-2026-0117")
    assert str(made.values.get().temperature) == "23.0 °C"


def test_another_item_s_certificate_is_marked(bring) -> None:
    client, answer = bring(certificate(serial="ST-9999"))
    assert "is it this device?" in client.get(answer.url).content.decode()


def test_a_sensor_s_table_becomes_corrections(people, sign_in) -> None:
    logger = add_logger(people)
    client = sign_in(Client(), people.technician)
    upload = SimpleUploadedFile("c.xml", certificate(sensor_table(), serial="SL-771"))
    page = reverse("equipment:bring", args=[logger.tag])
    answer = client.post(page, {"upload": upload})
    form = client.get(answer.url).context["form"]
    first = form.corrections.forms[0]
    assert str(first["reading"].value()) == "15.05 °C"
    assert str(first["correction"].value()) == "-0.05 K"


@pytest.mark.parametrize(
    ("blob", "reason"),
    [
        (LAUGHS, "DOCTYPE"),
        (OUTSIDE, "DOCTYPE"),
        (DEEP, "not well-formed"),
        (b"%PDF-1.4 not at all", "not well-formed"),
        (certificate(version="9.0"), "versions 2 and 3"),
    ],
    ids=["laughs", "outside", "deep", "no XML", "version"],
)
def test_what_can_t_be_read_leaves_nothing_behind(bring, blob, reason: str) -> None:
    before = folder()
    _, answer = bring(blob)
    assert answer.status_code == 400
    assert reason in answer.content.decode()
    assert folder() == before
    assert not StoredFile.objects.exists()
    assert not CertificateFile.objects.exists()


def test_an_altered_certificate_leaves_nothing_behind(bring) -> None:
    blob = signed(certificate(), made_at=TODAY - timedelta(days=30))
    before = folder()
    _, answer = bring(blob.replace(b"1200.0463", b"1200.0436"))
    assert answer.status_code == 400
    assert "changed after it was signed" in answer.content.decode()
    assert folder() == before
    assert not StoredFile.objects.exists()


class Endless(io.RawIOBase):
    """Two hundred megabytes that nobody has to hold."""

    def __init__(self) -> None:
        self.left = 200 * 1024 * 1024
        self.given = 0

    def read(self, size: int = -1) -> bytes:
        count = self.left if size < 0 else min(size, self.left)
        self.left -= count
        self.given += count
        return b"<" * count


def test_two_hundred_megabytes_are_refused_after_the_limit(people, bar) -> None:
    before, source = folder(), Endless()
    with pytest.raises(TooLarge, match="larger than 20 MB"):
        keep_certificate(
            device=bar,
            upload=File(source, name="large.xml"),
            name="large.xml",
            acting_user=people.technician,
        )
    assert source.given == settings.UPLOAD_LIMITS["xml"] + 1
    assert folder() == before
    assert not StoredFile.objects.exists()


def test_two_hundred_megabytes_are_refused_by_their_stated_length(
    people, sign_in, bar
) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:bring", args=[bar.tag])
    length = str(200 * 1024 * 1024)
    answer = client.post(page, {"upload": ""}, CONTENT_LENGTH=length)
    assert answer.status_code == 413


def test_a_file_within_the_limit_that_swells_is_stopped(people, bar, monkeypatch):
    """Hundreds of thousands of elements: the child gets no more than its share."""
    monkeypatch.setattr("lab.equipment.dcc.inside.MEMORY_MB", 40)
    before = folder()
    blob = certificate("<dcc:list>" + "<dcc:quantity/>" * 400_000 + "</dcc:list>")
    with pytest.raises(NotAcceptable, match="more memory than it may have"):
        keep_certificate(
            device=bar,
            upload=File(io.BytesIO(blob), name="swells.xml"),
            name="swells.xml",
            acting_user=people.technician,
        )
    assert folder() == before


def test_another_device_s_file_can_t_be_recorded_from(people, sign_in, bring) -> None:
    _, answer = bring(certificate())
    kept = CertificateFile.objects.get()
    other = add_bar(people, "SB-9")
    client = sign_in(Client(), people.technician)
    page = reverse("equipment:read", args=[other.tag, kept.pk])
    assert client.get(page).status_code == 404
    reader = sign_in(Client(), people.coordinator)
    assert reader.get(answer.url).status_code == 403
