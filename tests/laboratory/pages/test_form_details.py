"""What forms begin with, take, show again and refuse."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lab.common.models import AuditEntry
from lab.laboratory.models import (
    Authorisation,
    DecisionRuleRevision,
    MethodRevision,
    MethodWithdrawal,
    Room,
    Site,
)


def test_what_was_typed_wrongly_is_shown_again(page: Any, as_: Any) -> None:
    here = page("add-room")
    answer = as_("quality").post(
        here.url, here.good | {"temperature_lowest_text": "cold & damp"}
    )
    text = answer.content.decode()
    assert 'value="cold &amp; damp"' in text
    assert "is not a number" in text


def test_a_scope_half_filled_is_refused_in_its_own_place(page: Any, as_: Any) -> None:
    here, client = page("revise-method"), as_("quality")
    for typed, kind, where in (
        ({"scope-length-largest_text": ""}, "length", "largest"),
        ({"scope-length-cmc_constant_text": ""}, "length", "cmc_constant"),
        ({"scope-length-cmc_constant_text": "nan"}, "length", "cmc_constant"),
        (
            {"scope-length-largest_text": "1", "scope-length-largest_unit": "mm"},
            "length",
            "largest",
        ),
        (
            {"scope-angle-cmc_angle_text": "0.01", "scope-angle-cmc_angle_unit": "°"},
            "angle",
            "smallest",
        ),
    ):
        answer = client.post(here.url, here.good | typed)
        assert answer.status_code == 400
        parts = {part.kind.value: part for part in answer.context["form"].scope}
        assert where in parts[kind].errors, typed
        assert [k for k, part in parts.items() if part.errors] == [kind]
    empty = {
        key: ""
        for key in here.good
        if key.startswith("scope") and key.endswith("_text")
    }
    answer = client.post(here.url, here.good | empty)
    assert answer.status_code == 400
    assert "Nothing is in scope" in answer.content.decode()
    assert MethodRevision.objects.count() == 1


def test_a_revision_begins_with_what_the_last_one_says(page: Any, as_: Any) -> None:
    text = as_("quality").get(page("revise-method").url).content.decode()
    assert 'name="temperature_lowest_text" value="19"' in text
    assert 'name="scope-length-cmc_constant_text" value="18"' in text
    assert 'name="scope-form-smallest_text"' in text


def test_what_the_revision_form_takes_is_what_is_recorded(page: Any, as_: Any) -> None:
    here = page("revise-method")
    as_("quality").post(here.url, here.good)
    record = MethodRevision.objects.get(revision="B")
    (capability,) = record.capabilities.all()
    assert capability.cmc_in_words == "15 µm + 10 µm/m · L"
    assert str(capability.largest) == "2.5 m"
    assert {check.kind for check in record.checks_wanted.all()} == {
        "length",
        "flat form",
    }
    assert (record.minimum_targets, record.valid_until) == (6, None)
    assert record.rate is not None
    assert str(record.rate) == "0.3 K/h"


def test_a_second_withdrawal_is_a_sentence_on_the_page(page: Any, as_: Any) -> None:
    here, client = page("withdraw-revision"), as_("quality")
    client.post(here.url, here.good)
    again = client.post(here.url, here.good)
    assert again.status_code == 400
    assert "is withdrawn already" in again.content.decode()
    assert MethodWithdrawal.objects.count() == 1


def test_ending_a_deputation_twice_ends_it_once(page: Any, as_: Any) -> None:
    here, client = page("end-deputation"), as_("quality")
    assert client.post(here.url).status_code == 302
    entries = AuditEntry.objects.count()
    assert client.post(here.url).status_code == 302
    assert AuditEntry.objects.count() == entries


def test_a_grant_begins_with_what_the_matrix_asked_for(
    page: Any, as_: Any, people: Any, house: Any
) -> None:
    query = f"?person={people.technician2.pk}&method={house.method.pk}&activity=review"
    form = as_("quality").get(page("grant").url + query).context["form"]
    assert form["person"].value() == str(people.technician2.pk)
    assert form["activity"].value() == "review"
    hostile = as_("quality").get(page("grant").url + "?person=<script>&method=x")
    assert hostile.status_code == 200
    assert "<script>" not in hostile.content.decode().replace("<script src", "")


def test_the_document_behind_an_authorisation_is_kept_and_given_back(
    page: Any, as_: Any, settings: Any, tmp_path: Any
) -> None:
    here, client = page("grant"), as_("quality")
    upload = SimpleUploadedFile("record.pdf", b"%PDF-1.7 witnessed", "text/html")
    assert client.post(here.url, here.good | {"file": upload}).status_code == 302
    granted = Authorisation.objects.order_by("pk").last()
    assert granted is not None
    shown = client.get(reverse("laboratory:authorisation", args=[granted.pk]))
    assert "record.pdf" in shown.content.decode()
    given = client.get(reverse("laboratory:evidence", args=[granted.pk]))
    assert b"".join(given.streaming_content) == b"%PDF-1.7 witnessed"
    assert given["Content-Disposition"].startswith("attachment")
    entry = AuditEntry.objects.order_by("pk").last()
    assert entry is not None
    assert granted.evidence_file is not None
    assert granted.evidence_file.sha256 in entry.values_text


def test_an_empty_document_is_refused_beside_its_field(page: Any, as_: Any) -> None:
    here = page("grant")
    upload = SimpleUploadedFile("record.pdf", b"", "application/pdf")
    answer = as_("quality").post(here.url, here.good | {"file": upload})
    assert answer.status_code == 400
    assert "file" in answer.context["form"].errors
    assert Authorisation.objects.count() == 1


def test_names_print_as_text(page: Any, as_: Any) -> None:
    here, client = page("add-site"), as_("quality")
    name = '<img src="x.png"/> a<b>c'
    client.post(here.url, here.good | {"name": name})
    assert Site.objects.filter(name=name).exists()
    text = client.get(reverse("laboratory:overview")).content.decode()
    assert "<img" not in text
    assert "&lt;img" in text


def test_a_rule_page_says_the_risk(page: Any, as_: Any) -> None:
    here, client = page("offer-rule"), as_("quality")
    client.post(here.url, here.good)
    assert DecisionRuleRevision.objects.count() == 2
    text = client.get(reverse("laboratory:rules")).content.decode()
    assert "w = 0.83 U" in text
    assert "A pass is wrong with at most 4.8 %" in text


def test_only_those_who_may_are_offered_the_buttons(
    pages: Any, people: Any, sign_in: Any
) -> None:
    overview = reverse("laboratory:overview")
    room = reverse("laboratory:change-room", args=[Room.objects.get().pk])
    for part, offered in (("technician", False), ("administrator", True)):
        client = sign_in(Client(), getattr(people, part))
        assert (room in client.get(overview).content.decode()) is offered
    matrix = reverse("laboratory:authorisations")
    grant = reverse("laboratory:grant")
    for part, offered in (("administrator", False), ("quality", True)):
        client = sign_in(Client(), getattr(people, part))
        assert (grant in client.get(matrix).content.decode()) is offered
