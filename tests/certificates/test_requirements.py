"""The table of what a certificate must say, against one that says all of it."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from lab.certificates.documents.signing import Signer
from lab.certificates.guards import NotIssuable
from lab.certificates.models import Certificate, Draft
from lab.certificates.pdf import render
from lab.certificates.requirements import REQUIREMENTS, Requirement, unmet
from lab.certificates.services import issuing
from lab.certificates.snapshot import content_of, content_sha256
from lab.common import clock
from lab.inspections.selectors import results_in_force
from lab.inspections.services import correct_result, finish_evaluation
from lab.jobs.models import Job
from lab.jobs.selectors import open_holds
from lab.jobs.services import clear_hold, end_session, move_job
from lab.laboratory.models import Laboratory, Site
from tests import chain
from tests.stages import staged

pytestmark = pytest.mark.django_db
GOLDEN = Path(__file__).with_name("snapshots") / "schema_1.json"
TABLE = {row.id: row for row in REQUIREMENTS}
#: What the checklist of ISO/IEC 17025, 7.8 has that a certificate must show.
WANTED = {f"R{number:02d}" for number in [*range(4, 27), *range(32, 39)]}


@pytest.fixture
def full_draft(lab) -> Draft:
    """A reviewed draft that needs every row of the table but the replacement's.

    Sampled, of two sessions about an adjustment, one of them with a finding that was
    assessed, with an outside provider's result, an opinion, and amending another.
    """
    return staged("full draft", lambda: _full_draft(lab))


def _full_draft(lab) -> Draft:
    job, old = _first_certificate(lab)
    with clock.set_to(chain.at(14, 30)):
        again = chain.start(lab, job)
    chain.read_room(lab, chain.at(15))
    with clock.set_to(chain.at(15, 30)):
        end_session(
            session=again, at=chain.at(15, 30), acting_user=lab.people.technician
        )
    chain.check(lab, chain.at(16))
    with clock.set_to(chain.at(17)):
        for result in results_in_force(job).filter(characteristic__number="1"):
            value = {"value_text": "1000.05"}
            correct_result(
                result=result,
                entry=chain.entry(result.item, result.characteristic, **value),
                session=again,
                reason="Measured after the adjustment.",
                acting_user=lab.people.technician,
            )
        move_job(job=job, to="evaluated", acting_user=lab.people.technician)
        return chain.reviewed_draft(
            lab,
            Job.objects.get(pk=job.pk),
            amends=old,
            change="Lengths measured anew after the adjustment.",
            adjustment="The arm was bent back by the customer’s fitter.",
            opinion="The foot has worn on one side.",
        )


def _first_certificate(lab) -> tuple[Job, Certificate]:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job, session = chain.measured_job(lab, sampling="One of ten, by the plan of MP-09.")
    chain.check(lab, chain.at(12), off_um=120)
    chain.check(lab, chain.at(12, 30))
    with clock.set_to(chain.at(13)):
        *own, last = chain.entries(lab, job)
        chain.record(lab, job, session, entries=own)
        other = {**_fields(last), "provider": "Hollin Gauging"}
        chain.record(lab, job, None, entries=[type(last)(**other)])
        finish_evaluation(job=job, acting_user=lab.people.technician)
        chain.judge(job)
        for hold in open_holds(job):
            clear_hold(
                hold=hold,
                reason="The bar was touched with a warm hand.",
                acting_user=lab.people.quality,
            )
    with clock.set_to(chain.at(14)):
        job = Job.objects.get(pk=job.pk)
        old = chain.issue(lab, chain.reviewed_draft(lab, job))
    return Job.objects.get(pk=job.pk), old


def _fields(entry: Any) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in entry.__dataclass_fields__}


def issue(lab, draft: Draft) -> Certificate:
    with clock.set_to(chain.at(17, 10)):
        return chain.issue(lab, draft)


# --- All of them -------------------------------------------------------------------


def test_the_table_holds_every_row_of_the_checklist_once() -> None:
    assert len(TABLE) == len(REQUIREMENTS)
    # R27 to R31 are about what is agreed, sampled or left out, not about texts.
    assert set(TABLE) == WANTED
    assert all(row.words and str(row).startswith(row.id) for row in REQUIREMENTS)
    assert {row.id for row in REQUIREMENTS if row.at_issue} == {"R07", "R13", "R18"}


def test_one_certificate_says_all_of_it(lab, full_draft) -> None:
    made = issue(lab, full_draft)
    snapshot = json.loads(made.snapshot_text)
    assert unmet(snapshot, issued=True) == []
    applying = {row.id for row in REQUIREMENTS if row.applies(snapshot)}
    assert applying == WANTED - {"R38"}
    printed = _letters(_pdf_text(made))
    for row in REQUIREMENTS:
        if row.applies(snapshot):
            assert _missing(row, snapshot, printed) == [], row


def _missing(row: Requirement, snapshot: dict[str, Any], printed: str) -> list[str]:
    return [text for text in row.texts(snapshot) if _letters(text) not in printed]


def _pdf_text(certificate: Certificate) -> str:
    pages = PdfReader(BytesIO(render(certificate.snapshot_text))).pages
    return "".join(page.extract_text() for page in pages)


def _letters(text: str) -> str:
    """Leave out what breaking a text into lines may put in or take away."""
    return "".join(sign for sign in text if not sign.isspace() and sign != "\xad")


def test_a_replacement_has_a_row_of_its_own(lab, full_draft) -> None:
    content = content_of(full_draft)
    content["change"]["kind"] = "replacement"
    assert {row.id for row in REQUIREMENTS if row.applies(content)} == WANTED - {"R37"}
    assert TABLE["R38"].present(content)
    content["change"]["number"] = ""
    assert [row.id for row in unmet(content)] == ["R38"]


# --- Each of them left out --------------------------------------------------------


def _set(*path: Any, to: Any = "") -> Callable[[dict[str, Any]], None]:
    def hole(content: dict[str, Any]) -> None:
        found = content
        for key in path[:-1]:
            found = found[key]
        found[path[-1]] = to

    return hole


def _rows(name: str, to: Any) -> Callable[[dict[str, Any]], None]:
    def hole(content: dict[str, Any]) -> None:
        content["results"][0]["rows"][1][name] = to

    return hole


def _no_before(content: dict[str, Any]) -> None:
    for group in content["results"]:
        for row in group["rows"]:
            row["before"] = None


def _no_mark(content: dict[str, Any]) -> None:
    for group in content["results"]:
        for row in group["rows"]:
            row["provider"] = ""


HOLES: list[tuple[str, Callable[[dict[str, Any]], None]]] = [
    ("R04", _set("title")),
    ("R05", _set("laboratory", to={})),
    ("R05", _set("laboratory", "name")),
    ("R05", _set("laboratory", "address", to=[])),
    ("R06", _set("place_of_work", to=[])),
    ("R06", _set("place_of_work", 0, "address", to=[])),
    ("R08", _set("customer", "name")),
    ("R08", _set("customer", "address", to=[])),
    ("R08", _set("customer", "contact_email")),
    ("R09", _set("method", to={})),
    ("R09", _set("method", "revision")),
    ("R10", _set("items", to=[])),
    ("R10", _set("items", 1, "serial")),
    ("R10", _set("items", 1, "condition", to="n/a")),
    ("R11", _set("items", 0, "received_on")),
    ("R12", _set("measured_on", "text")),
    ("R12", _set("measured_on", "days", to=[])),
    ("R14", _set("sampling")),
    ("R14", _set("sampling", to="tbd")),
    ("R15", _set("statements", "items_only")),
    ("R16", _rows("value", "")),
    ("R16", _rows("unit", "")),
    ("R17", _set("deviations")),
    ("R17", _set("deviations", to="-")),
    ("R19", _no_mark),
    ("R20", _set("statements", "no_partial_copy")),
    ("R21", _set("statements", "customer_data")),
    ("R21", _set("statements", "as_received")),
    ("R21", _set("customer_supplied", to=[])),
    ("R22", _rows("expanded_u", "")),
    ("R22", _rows("coverage_factor", "?")),
    ("R22", _rows("coverage_probability", "")),
    ("R22", _set("uncertainty", "statement")),
    ("R23", _set("conditions", "rooms", to=[])),
    ("R23", _set("conditions", "rooms", 0, "temperature")),
    ("R24", _set("traceability", "standards", to=[])),
    ("R24", _set("traceability", "statement")),
    ("R24", _set("traceability", "standards", 0, "certificate_number")),
    ("R25", _no_before),
    ("R26", _rows("verdict", "")),
    ("R32", _set("conformity", "risk")),
    ("R32", _set("conformity", "rule_text")),
    ("R33", _set("conformity", "scope")),
    ("R33", _set("conformity", "specification")),
    ("R34", _set("conformity", "rule")),
    ("R35", _set("opinion", "author")),
    ("R35", _set("opinion", "heading")),
    ("R36", _set("change", "text")),
    ("R37", _set("change", "number")),
    ("R37", _set("change", "statement")),
]
ISSUE_HOLES = [("R07", "number"), ("R13", "issued_on"), ("R18", "authorised_by")]


def test_each_row_is_left_out_once_at_least() -> None:
    left_out = {number for number, _ in HOLES} | {number for number, _ in ISSUE_HOLES}
    # R38 is left out of a replacement, above.
    assert left_out == set(TABLE) - {"R38"}


def test_whatever_is_left_out_issue_is_refused_and_names_it(
    lab, full_draft, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = content_of(full_draft)
    for number, hole in HOLES:
        holed = copy.deepcopy(content)
        hole(holed)
        _refuses(lab, full_draft, monkeypatch, holed, number)


def _refuses(lab, draft, monkeypatch, content, number: str) -> None:
    """Let the records give this content, as reviewed, and find that issue refuses."""
    Draft.objects.filter(pk=draft.pk).update(
        reviewed_content_sha256=content_sha256(content)
    )
    monkeypatch.setattr(issuing, "content_of", lambda draft: content)
    with pytest.raises(NotIssuable, match=rf"\({number}\)"):
        issue(lab, draft)
    assert Certificate.objects.count() == 1
    assert Draft.objects.get(pk=draft.pk).state == "reviewed"


@pytest.mark.parametrize(("number", "name"), ISSUE_HOLES)
def test_what_exists_at_issue_only_is_asked_for_there(
    lab, full_draft, monkeypatch: pytest.MonkeyPatch, number: str, name: str
) -> None:
    whole = issuing.issued

    def without(content: dict[str, Any], made: Any) -> dict[str, Any]:
        snapshot = whole(content, made)
        snapshot["issue"][name] = ""
        return snapshot

    monkeypatch.setattr(issuing, "issued", without)
    with pytest.raises(NotIssuable, match=rf"\({number}\)"):
        issue(lab, full_draft)
    assert Certificate.objects.count() == 1


@pytest.mark.parametrize(
    ("number", "spoil"),
    [
        ("R05", lambda lab: Laboratory.objects.update(address="")),
        ("R05", lambda lab: Laboratory.objects.update(name="TBD")),
        ("R06", lambda lab: Site.objects.update(address="")),
        ("R08", lambda lab: _change(lab.customer, address="…")),
        ("R08", lambda lab: _change(lab.contact, email="")),
        ("R17", lambda lab: Draft.objects.update(deviations="n/a")),
        ("R36", lambda lab: Draft.objects.update(change="")),
    ],
)
def test_a_record_that_says_nothing_stops_issue(
    lab, full_draft, number: str, spoil: Callable[[Any], Any]
) -> None:
    spoil(lab)
    with pytest.raises(NotIssuable, match=rf"\({number}\)"):
        issue(lab, full_draft)


def _change(record: Any, **values: str) -> None:
    type(record).objects.filter(pk=record.pk).update(**values)


def test_a_calibration_that_was_not_current_stops_issue(lab, people) -> None:
    """Nobody can clear that away: the chain lacks a link (R24)."""
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab)
    chain.check(lab, chain.at(12))
    newest = lab.system.tracker.calibrations.get()
    chain.calibrate(
        people,
        lab.system.tracker,
        due_on=date(2026, 3, 16),
        supersedes=newest,
        reason="The due date was copied wrongly.",
    )
    with clock.set_to(chain.at(14)):
        chain.judge(job)
        for hold in open_holds(job):
            clear_hold(
                hold=hold, reason="Due two days later.", acting_user=people.quality
            )
        with pytest.raises(NotIssuable, match=r"traceable to \(R24\)"):
            chain.reviewed_draft(lab, job)


def test_signs_that_no_font_has_stop_issue(lab, people) -> None:
    with clock.set_to(chain.at(14)):
        job = chain.certifiable_job(lab)
        with pytest.raises(NotIssuable, match="No font of this installation"):
            chain.reviewed_draft(lab, job, deviations="The part was 𒀀 shaped.")


# --- The schema -------------------------------------------------------------------


def test_a_snapshot_has_the_keys_of_the_golden_one(
    lab, full_draft, monkeypatch
) -> None:
    key = Signer("Saltmarsh Dimensional", "5d" * 32)
    monkeypatch.setattr(issuing, "signer", lambda: key)
    snapshot = json.loads(issue(lab, full_draft).snapshot_text)
    golden = json.loads(GOLDEN.read_text())
    assert set(_paths(snapshot)) == set(_paths(golden))


def _paths(found: Any, path: str = "") -> list[str]:
    if isinstance(found, dict):
        return [p for key in found for p in _paths(found[key], f"{path}.{key}")]
    if isinstance(found, list):
        return [p for entry in found for p in _paths(entry, f"{path}[]")]
    return [path]
