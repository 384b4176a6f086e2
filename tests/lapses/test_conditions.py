"""Air outside its limits during a session: found, held, assessed in µm, released."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.environment.models import Excursion
from lab.environment.services import place_sensor, store_readings
from lab.environment.tasks import find_excursions
from lab.environment.times import us_of
from lab.jobs.models import Hold
from lab.lapses.assessing import assessment_of, open_findings
from lab.lapses.models import ConditionsAssessment
from lab.lapses.services import assess_conditions, judge_session
from lab.lapses.tasks import KINDS
from tests.chain import at, measured_job

pytestmark = pytest.mark.django_db
STAND = ConditionsAssessment.Outcome.STAND


@pytest.fixture
def session(lab: Any) -> Any:
    """Two hours of measuring from nine on, the items at 20.3 °C by contact."""
    _, made = measured_job(lab)
    with clock.set_to(at(18)):
        yield made


def log(lab: Any, session: Any, values: list[float], start: Any = None) -> None:
    """Keep a value every five minutes from eight o'clock on, and look through them."""
    place_sensor(
        sensor=lab.logger,
        room=session.room,
        since=at(0),
        acting_user=lab.people.technician,
    )
    first = start or at(8)
    store_readings(
        sensor=lab.logger,
        quantity="temperature",
        times_us=[us_of(first + n * timedelta(minutes=5)) for n in range(len(values))],
        values=values,
        source="a test",
        acting_user=lab.people.technician,
    )
    find_excursions(lab.logger.pk)
    for excursion in Excursion.objects.all():
        KINDS["lapses.judge_excursion"].run(excursion.pk)


def warm_spell(lab: Any, session: Any) -> None:
    """A quarter of an hour at 23.3 °C while it was measured; 22 °C is allowed."""
    log(lab, session, [20.3] * 20 + [23.3] * 3 + [20.3] * 20)


def names(session: Any) -> list[str]:
    return [one.name for one in session.findings.order_by("pk")]


def test_an_excursion_while_measuring_holds_the_job_once(lab, session) -> None:
    warm_spell(lab, session)
    assert "conditions" in names(session)
    (found,) = open_findings(session)
    assert "temperature" in found.reason
    assert at(9) < found.window_from < found.window_until < at(11)
    judge_session(session=session, acting_user=PROGRAM)
    assert len(open_findings(session)) == 1


def test_one_before_or_after_the_measuring_is_none(lab, session) -> None:
    log(lab, session, [23.0] * 6 + [20.3] * 40)  # until half past eight
    assert Excursion.objects.filter(kind="temperature").exists()
    assert open_findings(session) == []


def test_readings_that_miss_while_measuring_are_one(lab, session) -> None:
    log(lab, session, [20.3] * 15)
    log(lab, session, [20.3] * 15, start=at(10, 30))
    (found,) = open_findings(session)
    assert "missing" in found.reason
    bound = assessment_of(session)
    # From 9:10 to 10:30 nothing is known: 40 min at 2 K/h from either edge.
    assert abs(bound.deviation_k) == pytest.approx(4 / 3, abs=1e-6)


def test_the_sum_is_done_for_the_person(lab, session) -> None:
    warm_spell(lab, session)
    bound = assessment_of(session)
    assert bound.reference_degc == pytest.approx(20.3)
    assert bound.deviation_k == pytest.approx(3.0)
    by_number = {one.characteristic.number: one for one in bound.effects}
    alpha = float(lab.revision.expansion.value)
    assert by_number["1"].shift_um == pytest.approx(1000e3 * alpha * 3.0, rel=1e-9)
    assert by_number["1"].expanded_u_um > 0
    assert "2" not in by_number  # a form has no length
    assert "+3.00 K" in bound.basis


def test_an_assessment_is_kept_and_releases_the_job(lab, session) -> None:
    warm_spell(lab, session)
    with pytest.raises(NotAllowed):
        assess_conditions(
            session=session,
            outcome=STAND,
            reason="Within the budget.",
            acting_user=lab.people.technician,
        )
    with pytest.raises(NotAcceptable):
        assess_conditions(
            session=session, outcome=STAND, reason="-", acting_user=lab.people.quality
        )
    made = assess_conditions(
        session=session,
        outcome=STAND,
        reason="Within the budget.",
        acting_user=lab.people.quality,
    )
    assert made.effects.count() == len(assessment_of(session).effects)
    assert open_findings(session) == []
    assert AuditEntry.objects.filter(verb="session.conditions_assessed").count() == 1
    with pytest.raises(WrongState, match="open"):
        assess_conditions(
            session=session,
            outcome=STAND,
            reason="Within the budget.",
            acting_user=lab.people.quality,
        )


def test_results_that_are_not_used_stay_on_hold(lab, session) -> None:
    warm_spell(lab, session)
    assess_conditions(
        session=session,
        outcome=ConditionsAssessment.Outcome.NOT_USED,
        reason="Measured anew tomorrow.",
        acting_user=lab.people.quality,
    )
    hold = Hold.objects.get(finding__name="conditions")
    assert not hasattr(hold, "clearance")


def test_the_page_does_the_sum_and_takes_the_decision(lab, session, sign_in) -> None:
    warm_spell(lab, session)
    client = sign_in(Client(), lab.people.quality)
    address = reverse("lapses:conditions", args=[session.pk])
    page = client.get(address).content.decode()
    assert "At most, in µm" in page
    assert "+3.00 K" in page
    job = client.get(reverse("board:job", args=[session.job.number]))
    assert address in job.content.decode()
    assert client.post(address, {"outcome": "perhaps"}).status_code == 400
    said = {"outcome": "stand", "reason": "Within the budget."}
    assert client.post(address, said).status_code == 302
    again = client.post(address, said)
    assert again.status_code == 400
    technician = sign_in(Client(), lab.people.technician)
    assert technician.get(address).status_code == 403
