"""The public page: authentic or not, in force or not, and not a word more."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from lab.certificates.documents.rendering import render_certificate
from lab.certificates.models import Document
from lab.certificates.snapshot.issue import new_code
from lab.common.files.models import StoredFile
from lab.common.files.store import read_file
from lab.common.models import AuditEntry
from lab.portal.codes import code_in
from tests import chain
from tests.portal.conftest import PDF

pytestmark = pytest.mark.django_db
CODE = "K3TZQ7MWB2XJ5HDA6RNEVY4CLP"


def told(code: str) -> tuple[int, str]:
    """Return what a stranger is told: the status, and the words of the page."""
    answer = Client().get(f"/c/{code}/")
    main = answer.content.decode().partition("<main")[2]
    return answer.status_code, " ".join(re.sub(r"<[^>]+>", " ", main).split())


def test_a_certificate_in_force_is_authentic_and_current(certify) -> None:
    made = certify()
    status, words = told(made.authenticity_code)
    assert status == 200
    assert "C2026-0001" in words
    assert "authentic and current" in words


def test_an_amended_one_names_the_further_documents_that_count(
    certify, withdraw
) -> None:
    first = certify()
    amendment, wrong = certify(amends=first), certify(amends=first)
    withdraw(wrong)
    status, words = told(first.authenticity_code)
    assert status == 200
    assert "it is amended" in words
    assert amendment.number in words
    assert wrong.number not in words
    assert "authentic and current" in told(amendment.authenticity_code)[1]


def test_amendments_that_are_all_withdrawn_leave_it_current(certify, withdraw) -> None:
    first = certify()
    withdraw(certify(amends=first))
    assert "authentic and current" in told(first.authenticity_code)[1]


def test_a_superseded_one_names_what_took_its_place(certify) -> None:
    first = certify()
    new = certify(replaces=first)
    words = told(first.authenticity_code)[1]
    assert f"superseded by {new.number}" in words
    assert "valid no longer" in words
    assert "authentic and current" in told(new.authenticity_code)[1]


def test_a_withdrawn_one_is_not_to_be_relied_on(certify, withdraw) -> None:
    first = certify()
    withdraw(first)
    status, words = told(first.authenticity_code)
    assert status == 200
    assert "withdrawn: do not rely on it" in words
    new = certify(replaces=first)
    assert f"{new.number} has taken its place" in told(first.authenticity_code)[1]


def test_the_page_tells_nothing_else(certify, withdraw, lab, job) -> None:
    """No customer, no order, no person, no job, no reason of a withdrawal."""
    first = certify()
    for act in (lambda: None, lambda: certify(amends=first), lambda: withdraw(first)):
        act()
        answer = Client().get(f"/c/{first.authenticity_code}/").content.decode()
        for secret in (
            lab.customer.name,
            lab.contact.name,
            job.number,
            job.order_number,
            lab.revision.part.number,
            lab.people.signatory.name,
            "wrong bar",
            "2026-03-17",
        ):
            assert secret not in answer


def test_an_unknown_code_is_a_404_in_plain_words(certify) -> None:
    certify()
    for code in (CODE, "nothing-like-a-code", "A" * 300):
        status, words = told(code)
        assert status == 404
        assert "No certificate has this code" in words
        assert "was not issued here: ask the laboratory" in words


def test_known_and_unknown_codes_ask_the_database_alike(
    certify, django_assert_max_num_queries
) -> None:
    made = certify()
    for code in (made.authenticity_code, CODE):
        with django_assert_max_num_queries(3):
            told(code)


@pytest.mark.parametrize("path", ["/c/", f"/c/{CODE}/"])
def test_the_page_is_for_people_not_for_indexes_and_caches(path: str) -> None:
    answer = Client().get(path)
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert '<meta name="robots" content="noindex, nofollow">' in answer.content.decode()
    assert "no-store" in answer["Cache-Control"]
    assert "sessionid" not in answer.cookies
    assert Client().post(path).status_code == 405


@pytest.mark.parametrize("part", ["technician", "client"])
def test_who_is_signed_in_may_ask_too(certify, as_, people, part) -> None:
    made = certify()
    answer = as_(getattr(people, part)).get(f"/c/{made.authenticity_code}/")
    assert answer.status_code == 200


# --- Typing a code ------------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    [
        CODE,
        CODE.lower(),
        " K3TZ Q7MW B2XJ 5HDA 6RNE VY4C LP ",
        "k3tz-q7mw-b2xj-5hda-6rne-vy4c-lp",
        "K3TZ–Q7MW–B2XJ–5HDA–6RNE–VY4C–LP",
        f"https://lab.saltmarsh.example/c/{CODE}/",
        f"http://localhost:8000/c/{CODE}?from=paper",
    ],
)
def test_a_code_is_taken_as_people_type_it(said: str) -> None:
    answer = Client().get("/c/", {"code": said})
    assert answer.status_code == 302
    assert answer.url == f"/c/{CODE}/"


def test_lookalikes_are_read_as_the_letters_that_they_look_like() -> None:
    assert code_in("OIB" + CODE[3:]) == "OIB" + CODE[3:]
    assert code_in("018" + CODE[3:]) == "OIB" + CODE[3:]


@pytest.mark.parametrize("said", ["K3TZ", f"{CODE}A", f"{CODE[:25]}9", "<b>", "ß" * 26])
def test_what_can_be_no_code_is_refused_beside_the_field(said: str) -> None:
    answer = Client().get("/c/", {"code": said})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "This is no code" in page
    assert 'aria-invalid="true"' in page
    assert "<b>" not in page


def test_a_messy_address_finds_the_certificate_too(certify) -> None:
    made = certify(authenticity_code="O" + CODE[1:])
    assert told(f"0{CODE[1:].lower()}")[0] == 200
    assert made.number in told(f"0{CODE[1:4]}-{CODE[4:]}")[1]


def test_every_code_that_is_made_is_read_back() -> None:
    codes = [new_code() for _ in range(200)]
    assert [code_in(code.lower()) for code in codes] == codes


@given(st.text())
def test_any_text_is_a_code_or_none(said: str) -> None:
    code = code_in(said)
    assert code == "" or code_in(code) == code


# --- The file itself ----------------------------------------------------------------


def compare(content: bytes, name: str = "any.pdf") -> tuple[int, str]:
    answer = Client().post("/c/file/", {"document": SimpleUploadedFile(name, content)})
    main = answer.content.decode().partition("<main")[2]
    return answer.status_code, " ".join(re.sub(r"<[^>]+>", " ", main).split())


@pytest.fixture
def signed_document(lab, settings, tmp_path) -> bytes:
    settings.SIGNING_PASSPHRASE = "seven wet oars"
    path = tmp_path / "lab.p12"
    call_command("make-signing-key", str(path), holder="Saltmarsh Dimensional")
    settings.SIGNING_KEY = str(path)
    made = chain.certificate(lab, deviations="None at all.")
    render_certificate(made.pk)
    return read_file(Document.objects.get(certificate=made).file)


def test_a_document_as_issued_is_known_and_its_signature_looked_at(
    signed_document,
) -> None:
    status, words = compare(signed_document)
    assert status == 200
    assert "authentic and current" in words
    assert "byte for byte" in words
    assert "signature is good" in words


def test_a_document_changed_by_one_byte_is_not(signed_document) -> None:
    changed = bytearray(signed_document)
    changed[len(changed) // 2] ^= 1
    status, words = compare(bytes(changed))
    assert status == 404
    assert "no document of ours" in words
    assert "authentic and current" not in words


def test_an_unsigned_document_says_nothing_of_a_signature(certify, withdraw) -> None:
    made = certify()
    withdraw(made)
    status, words = compare(PDF)
    assert status == 200
    assert "withdrawn: do not rely on it" in words
    assert "byte for byte" in words
    assert "signature" not in words


def test_a_file_that_is_compared_is_not_kept(certify) -> None:
    certify()
    before = StoredFile.objects.count(), AuditEntry.objects.count()
    for content in (b"", b"MZ\x90 nothing of ours", b"%PDF-1.7 not ours"):
        status, _ = compare(content)
        assert status == 404
    assert (StoredFile.objects.count(), AuditEntry.objects.count()) == before


def test_comparing_without_a_file_leads_back_to_the_question() -> None:
    assert Client().post("/c/file/").url == "/c/"
    assert Client().get("/c/file/").status_code == 405


def test_a_file_that_is_too_large_is_refused_by_its_length(settings) -> None:
    settings.UPLOAD_LIMITS = settings.UPLOAD_LIMITS | {"other": 10}
    answer = Client().post(
        "/c/file/",
        {"document": SimpleUploadedFile("a.pdf", b"x" * 2_000_000)},
    )
    assert answer.status_code == 413
