"""Documents fit to be kept: PDF/A-3b, the results inside, signed by the lab's key."""

from __future__ import annotations

import csv
import functools
import io
import json
from pathlib import Path

import page as checker
import pytest
from django.core.management import CommandError, call_command
from pyhanko.pdf_utils.generic import NumberObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext
from pypdf import PdfReader

from lab.certificates.documents.rendering import document_of, render_certificate
from lab.certificates.documents.signing import (
    Signer,
    SigningKeyUnusable,
    signed,
    signer,
)
from lab.certificates.models import Document
from lab.certificates.pdf import render
from lab.common.files.store import read_file
from tests import chain
from tests.certificates.drawn import EXAMPLE, example, words_of

PASSPHRASE = "seven wet oars"


@pytest.fixture
def key(settings, tmp_path: Path) -> Path:
    settings.SIGNING_PASSPHRASE = PASSPHRASE
    path = tmp_path / "lab.p12"
    call_command("make-signing-key", str(path), holder="Saltmarsh Dimensional")
    settings.SIGNING_KEY = str(path)
    return path


@functools.cache
def unsigned() -> bytes:
    return document_of(EXAMPLE.read_text())


def complaints(pdf: bytes) -> list[str]:
    report = checker.validate_pdf_bytes(pdf, profile="3b")
    return [f"{one.rule_id}: {one.message}" for one in report.failures]


def trustworthy(pdf: bytes) -> bool:
    """Tell whether the one signature is good, trusting the key in it."""
    reader = PdfFileReader(io.BytesIO(pdf))
    (signature,) = reader.embedded_signatures
    trusted = ValidationContext(
        trust_roots=[signature.signer_cert], allow_fetching=False
    )
    return validate_pdf_signature(signature, trusted).bottom_line


# --- To be kept ------------------------------------------------------------------


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_document_is_pdf_a(paper: str) -> None:
    text = json.dumps(example() | {"paper": paper})
    assert complaints(document_of(text)) == []
    assert complaints(render(text)) != []  # the checker does complain


def test_what_is_drawn_stays_as_it_was() -> None:
    assert words_of(unsigned()) == words_of(render(EXAMPLE.read_text()))


def test_the_results_are_inside_as_a_table() -> None:
    pdf = PdfReader(io.BytesIO(unsigned()))
    assert set(pdf.attachments) == {
        "SD-2026-0042-results.csv",
        "SD-2026-0042-content.json",
        "SD-2026-0042-dcc.xml",
        "SD-2026-0042-results.qif",
    }
    (table,) = pdf.attachments["SD-2026-0042-results.csv"]
    rows = list(csv.DictReader(io.StringIO(table.decode("utf-8-sig"))))
    groups = example()["results"]
    stated = [(group["serial"], row) for group in groups for row in group["rows"]]
    assert len(rows) == len(stated)
    for got, (serial, row) in zip(rows, stated, strict=True):
        assert got["serial"] == serial
        assert got["value"] == row["value"].replace("−", "-")
        assert got["expanded_u"] == row["expanded_u"]
        assert got["verdict"] == row["verdict"]


def test_a_text_that_a_spreadsheet_would_run_is_disarmed() -> None:
    snapshot = example()
    snapshot["results"][0]["rows"][0]["description"] = "=1+1"
    pdf = PdfReader(io.BytesIO(document_of(json.dumps(snapshot))))
    (table,) = pdf.attachments["SD-2026-0042-results.csv"]
    assert b"'=1+1" in table


# --- Signed ----------------------------------------------------------------------


def test_a_signed_document_is_good_until_a_byte_is_changed(key: Path) -> None:
    whole = signed(unsigned(), signer())
    assert trustworthy(whole)
    assert complaints(whole) == []
    place = whole.index(b"/Pages") + 1
    changed = whole[:place] + b"p" + whole[place + 1 :]
    assert not trustworthy(changed)


def test_an_edit_added_behind_the_signature_shows(key: Path) -> None:
    whole = signed(unsigned(), signer())
    writer = IncrementalPdfFileWriter(io.BytesIO(whole))
    writer.root["/Pages"]["/Kids"][0]["/Rotate"] = NumberObject(180)
    writer.update_container(writer.root["/Pages"]["/Kids"][0])
    edited = io.BytesIO()
    writer.write(edited)
    assert edited.getvalue().startswith(whole)
    assert edited.getvalue() != whole
    assert not trustworthy(edited.getvalue())


def test_another_key_than_the_printed_one_does_not_sign(key: Path) -> None:
    with pytest.raises(SigningKeyUnusable, match="is not set up"):
        signed(b"%PDF-", Signer("Somebody", "0" * 64))


def test_a_key_that_can_not_be_read_is_named(key: Path, settings) -> None:
    settings.SIGNING_PASSPHRASE = "another"
    with pytest.raises(SigningKeyUnusable, match="passphrase"):
        signer()
    settings.SIGNING_KEY = str(key.with_name("gone.p12"))
    with pytest.raises(SigningKeyUnusable, match=r"gone\.p12 can't be read"):
        signer()


def test_a_key_is_private_and_never_overwritten(key: Path) -> None:
    assert key.stat().st_mode & 0o777 == 0o600
    before = key.read_bytes()
    with pytest.raises(CommandError, match="never overwritten"):
        call_command("make-signing-key", str(key), holder="Saltmarsh Dimensional")
    assert key.read_bytes() == before
    assert PASSPHRASE.encode() not in before


def test_no_key_is_written_without_a_passphrase(settings, tmp_path: Path) -> None:
    settings.SIGNING_PASSPHRASE = ""
    with pytest.raises(CommandError, match="UNBROKEN_SIGNING_PASSPHRASE"):
        call_command("make-signing-key", str(tmp_path / "k.p12"), holder="Lab")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.django_db
def test_issue_prints_whose_key_signs_and_the_worker_signs_by_it(people, key) -> None:
    certificate = chain.certificate(chain.found_lab(people), deviations="None at all.")
    told = json.loads(certificate.snapshot_text)["issue"]["signature"]
    assert told == {
        "holder": "Saltmarsh Dimensional",
        "fingerprint": signer().fingerprint,
    }
    render_certificate(certificate.pk)
    whole = read_file(Document.objects.get(certificate=certificate).file)
    assert trustworthy(whole)
    assert told["fingerprint"][:8] in words_of(whole)


@pytest.mark.django_db
def test_without_a_key_a_document_says_nothing_of_one(people) -> None:
    certificate = chain.certificate(chain.found_lab(people), deviations="None at all.")
    render_certificate(certificate.pk)
    whole = read_file(Document.objects.get(certificate=certificate).file)
    assert b"/ByteRange" not in whole
    assert "Signed electronically" not in words_of(whole)
    assert complaints(whole) == []
