"""Two who close a case, and two workers that open one, at the same moment."""

from __future__ import annotations

import pytest

from lab.accounts.identity import ConfirmedIdentity
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.models import AuditEntry
from lab.evidence import services
from lab.evidence.guards import CaseClosed
from lab.evidence.models import (
    Case,
    CaseDecision,
    CaseWindow,
    Closure,
)
from lab.laboratory.services import name_deputy
from lab.lapses.models import Finding
from tests import chain

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgres]


@pytest.mark.usefixtures("on_postgres")
def test_of_two_who_close_one_wins(lab, broken, settle, in_threads) -> None:
    people = lab.people
    with clock.set_to(chain.at(16)):
        settle(lab, broken)
        name_deputy(
            person=people.quality,
            deputy=people.technician3,
            valid_from=chain.at(8).date(),
            valid_until=chain.at(8, days=3).date(),
            reason="On leave.",
            acting_user=people.quality,
        )

    def close_as(person):
        def close() -> None:
            with clock.set_to(chain.at(17)):
                services.close_case(
                    case=broken.case,
                    words="Settled.",
                    identity=ConfirmedIdentity(person.pk, clock.now()),
                    acting_user=person,
                )

        return close

    raised = in_threads([close_as(people.quality), close_as(people.technician3)])
    assert [type(one) for one in raised] == [CaseClosed]
    assert Closure.objects.count() == 1
    assert AuditEntry.objects.filter(verb="case.closed").count() == 1
    assert CaseDecision.objects.count() == 1


@pytest.mark.usefixtures("on_postgres")
def test_two_workers_open_one_case(lab, broken, in_threads) -> None:
    # Another check fails; both workers take up a finding of the same cause.
    with clock.set_to(chain.at(17)):
        failed = chain.check(lab, chain.at(17), off_um=90)
        old = Finding.objects.get(cause=f"check:{broken.check.pk}")
        new = Finding.objects.create(
            session=old.session,
            name="suspect",
            cause=f"check:{failed.pk}",
            cause_key=f"suspect;check:{failed.pk};session:{old.session_id}",
            reason="It failed again.",
            hold=_another_hold(old),
        )

    def open_it() -> None:
        services.open_for_finding(finding_id=new.pk, acting_user=PROGRAM)

    assert in_threads([open_it, open_it, open_it]) == []
    case = Case.objects.get(cause_key=f"check:{failed.pk}")
    assert CaseWindow.objects.filter(case=case).count() == 1


def _another_hold(old: Finding):
    return old.hold.__class__.objects.create(
        job=old.hold.job,
        session=old.session,
        cause_key="another",
        title="Suspect",
        reason="It failed again.",
    )
