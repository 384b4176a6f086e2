"""Two who act at once: a check and an issue, eight who issue, two who review."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction

from lab.certificates.documents.rendering import render_certificate
from lab.certificates.guards import NotIssuable
from lab.certificates.models import Certificate, Document, Draft
from lab.certificates.services import (
    approve_draft,
    issue_certificate,
    send_back_draft,
    submit_draft,
)
from lab.certificates.states import DraftNotReviewed
from lab.checks.models import ArtefactCheck
from lab.checks.services import revise_procedure
from lab.common import clock
from lab.common.errors import WrongState
from lab.common.models import AuditEntry, NumberSeries
from lab.jobs.models import Job
from lab.jobs.selectors import open_holds
from lab.jobs.services import move_job
from lab.metrology.units import Quantity
from tests import chain

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]
Act = Callable[[], Any]


def at_three(act: Act) -> Act:
    """Return an act that finds the clock at three, in whatever thread it runs."""

    def run() -> Any:
        with clock.set_to(chain.at(15)):
            return act()

    return run


def one_waits_for_the_other(first: Act, second: Act) -> list[BaseException]:
    """Run the second while the first has not committed, and return what it raised.

    The first commits when the database says that the second waits for its locks.
    """
    done_but_open, raised = threading.Event(), []

    def run_second() -> None:
        done_but_open.wait(timeout=30)
        try:
            at_three(second)()
        except BaseException as error:  # noqa: BLE001 - handed to the test
            raised.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=run_second)
    thread.start()
    with transaction.atomic():
        at_three(first)()
        done_but_open.set()
        _wait_until_somebody_waits()
    thread.join(timeout=60)
    assert not thread.is_alive()
    return raised


def _wait_until_somebody_waits() -> None:
    query = (
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
        "AND wait_event_type = 'Lock'"
    )
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        with connection.cursor() as cursor:
            # Inside a transaction the server's answer would stay what it was first.
            cursor.execute("SELECT pg_stat_clear_snapshot()")
            cursor.execute(query)
            if cursor.fetchone()[0]:
                return
        time.sleep(0.02)
    raise AssertionError("Nobody waited for a lock: the two did not meet.")


@pytest.fixture
def start_only(lab, people) -> Job:
    """A job whose system is checked before measuring only: a later fail bears on it."""
    with clock.set_to(chain.at(7)):
        lab.procedure = revise_procedure(
            procedure=lab.procedure.procedure,
            artefact=lab.bar,
            calibrated_label=chain.A_TO_B,
            positions=["Along the room"],
            limit_constant=Quantity("30", "µm"),
            limit_per_metre=Quantity("20", "µm"),
            temperature_u=Quantity("0.2", "K"),
            valid_for=timedelta(hours=12),
            closing_wanted=False,
            closing_within=timedelta(hours=20),
            acting_user=people.quality,
        )
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    return chain.evaluated_job(lab)


@pytest.fixture
def reviewed(on_postgres, lab, start_only) -> Draft:
    with clock.set_to(chain.at(14)):
        return chain.reviewed_draft(lab, start_only)


def fail_a_check(lab) -> None:
    chain.check(lab, chain.at(15), off_um=120)


def test_a_failed_check_just_before_stops_the_issue(lab, reviewed) -> None:
    raised = one_waits_for_the_other(
        lambda: fail_a_check(lab), lambda: chain.issue(lab, reviewed)
    )
    assert [type(error) for error in raised] == [NotIssuable]
    assert "Suspect" in str(raised[0])
    assert not Certificate.objects.exists()
    assert not NumberSeries.objects.filter(series="certificate", last__gt=0).exists()
    assert ArtefactCheck.objects.filter(verdict="fail").count() == 1


def test_a_failed_check_just_after_waits_and_finds_what_was_issued(
    lab, reviewed
) -> None:
    raised = one_waits_for_the_other(
        lambda: chain.issue(lab, reviewed), lambda: fail_a_check(lab)
    )
    assert raised == []
    made = Certificate.objects.get()
    assert not open_holds(made.job).exists()
    with clock.set_to(chain.at(15, 1)):
        chain.judge(made.job)
    assert [hold.title[:7] for hold in open_holds(made.job)] == ["Suspect"]


def test_eight_who_issue_one_draft_make_one_certificate(
    lab, people, reviewed, in_threads
) -> None:
    raised = in_threads([at_three(lambda: chain.issue(lab, reviewed))] * 8)
    assert [type(error) for error in raised] == [DraftNotReviewed] * 7
    made = Certificate.objects.get()
    assert made.number == "C2026-0001"
    assert NumberSeries.objects.get(series="certificate").last == 1
    assert AuditEntry.objects.filter(verb="certificate.issued").count() == 1


def test_eight_drafts_issued_at_once_are_numbered_without_a_gap(
    on_postgres, lab, people, in_threads
) -> None:
    chain.read_room(lab, chain.at(10))
    chain.check(lab, chain.at(8, 30))
    job = chain.evaluated_job(lab, serials=[f"RR-1-{n}" for n in range(8)])
    chain.check(lab, chain.at(12))
    with clock.set_to(chain.at(14)):
        drafts = [
            chain.reviewed_draft(lab, job, items=[item]) for item in job.items.all()
        ]
    acts = [at_three(lambda d=draft: chain.issue(lab, d)) for draft in drafts]
    assert in_threads(acts) == []
    numbers = sorted(Certificate.objects.values_list("number", flat=True))
    assert numbers == [f"C2026-{n:04d}" for n in range(1, 9)]
    assert Job.objects.get(pk=job.pk).state == "evaluated"


def test_of_two_who_approve_and_send_back_one_wins(
    on_postgres, lab, people, start_only, in_threads
) -> None:
    with clock.set_to(chain.at(14)):
        draft = chain.draft(lab, start_only)
        submit_draft(draft=draft, acting_user=people.technician)
    raised = in_threads(
        [
            at_three(
                lambda: approve_draft(draft=draft, acting_user=people.technician3)
            ),
            at_three(lambda: approve_draft(draft=draft, acting_user=people.signatory)),
        ]
    )
    assert [isinstance(error, WrongState) for error in raised] == [True]
    draft.refresh_from_db()
    assert draft.state == "reviewed"


def test_what_is_sent_back_a_moment_before_is_not_issued(lab, people, reviewed) -> None:
    raised = one_waits_for_the_other(
        lambda: send_back_draft(
            draft=reviewed, text="Wait.", acting_user=people.technician3
        ),
        lambda: issue_certificate(draft=reviewed, acting_user=people.signatory),
    )
    assert [type(error) for error in raised] == [DraftNotReviewed]
    assert not Certificate.objects.exists()


def test_of_two_who_move_the_job_one_wins(
    on_postgres, lab, people, start_only, in_threads
) -> None:
    """One submits the draft, the other takes the job back to measuring."""
    with clock.set_to(chain.at(14)):
        draft = chain.draft(lab, start_only)
    raised = in_threads(
        [
            at_three(lambda: submit_draft(draft=draft, acting_user=people.technician)),
            at_three(
                lambda: move_job(
                    job=start_only, to="measuring", acting_user=people.technician
                )
            ),
        ]
    )
    state = Job.objects.get(pk=start_only.pk).state
    assert [isinstance(error, WrongState) for error in raised] == [True]
    assert (state, Draft.objects.get().state) in {
        ("in review", "in review"),
        ("measuring", "draft"),
    }


def test_eight_who_render_store_one_document(lab, people, reviewed, in_threads) -> None:
    with clock.set_to(chain.at(15)):
        made = chain.issue(lab, reviewed)
    assert in_threads([lambda: render_certificate(made.pk)] * 8) == []
    assert Document.objects.filter(certificate=made).count() == 1
