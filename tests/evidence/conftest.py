"""A certificate whose evidence breaks: the check that closed its session is voided."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from lab.certificates.models import Certificate
from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.evidence import services
from lab.evidence.models import Case
from lab.lapses.models import Finding
from lab.lapses.services import judge_session
from tests import chain
from tests.stages import staged


@dataclass
class Broken:
    """A certificate, the check that failed after it, and the case of that."""

    certificate: Certificate
    check: ArtefactCheck
    case: Case


@pytest.fixture
def lab(people: Any) -> chain.Lab:
    return chain.found_lab(people)


@pytest.fixture
def broken(lab: chain.Lab) -> Broken:
    return staged("broken", lambda: break_it(lab))


def break_it(lab: chain.Lab) -> Broken:
    issued = chain.certificate(lab)
    closing = ArtefactCheck.objects.get(ended_at=chain.at(12))
    with clock.set_to(chain.at(15)):
        failed = chain.check(lab, chain.at(15), off_um=90)
        chain.void(lab, closing)
    with clock.set_to(chain.at(15, 30)):
        session = issued.job.sessions.get()
        judge_session(session=session, acting_user=PROGRAM)
        finding = Finding.objects.get(session=session, cause=f"check:{failed.pk}")
        case = services.open_for_finding(finding_id=finding.pk, acting_user=PROGRAM)
    assert case is not None
    return Broken(issued, failed, case)


@pytest.fixture
def _evening() -> Iterator[None]:
    with clock.set_to(chain.at(16)):
        yield


@pytest.fixture
def settle() -> Any:
    """Return what does all that a broken case waits for."""
    return settle_case


def settle_case(lab: chain.Lab, broken: Broken) -> None:
    quality, case = lab.people.quality, broken.case
    services.assess(
        case=case,
        significance="within",
        reason="The bar was re-measured: 3 µm at 1 m, within U.",
        may_recur=True,
        acting_user=quality,
    )
    services.decide_certificate(
        case=case,
        certificate=broken.certificate,
        outcome="stands",
        justification="A later check on the same day passed without adjustment.",
        acting_user=quality,
    )
    made = services.draft_letter(
        case=case,
        customer=lab.customer,
        facts="A check on 17 March failed.",
        acting_user=quality,
    )
    services.record_telling(
        case=case,
        customer=lab.customer,
        way="letter",
        letter=made,
        told="Mabel Orrin",
        note="Posted and read to her by telephone.",
        at=clock.now(),
        acting_user=quality,
    )
    action = services.add_action(
        case=case,
        what="Mark the bars by colour.",
        responsible=lab.people.technician,
        due_on=chain.at(16).date(),
        effect_due_on=chain.at(16, days=30).date(),
        acting_user=quality,
    )
    services.record_done(
        action=action, note="All bars are marked.", acting_user=lab.people.technician
    )
    services.check_effect(
        action=action, helped=True, note="No mix-up since.", acting_user=quality
    )
    services.let_resume(
        case=case, reason="The tracker was adjusted.", acting_user=quality
    )
