"""The demo's year: jobs in every state, the failure in spring, a sound chain."""

from __future__ import annotations

from collections import Counter
from io import StringIO
from zoneinfo import ZoneInfo

import pytest
from django.core.management.base import OutputWrapper

from lab.certificates.models import Certificate, Document
from lab.certificates.selectors import standing_of
from lab.checks.models import ArtefactCheck
from lab.common import audit
from lab.common.models import WorkItem
from lab.common.running import demo
from lab.demo.load import load
from lab.environment.models import Excursion
from lab.equipment.models import Device
from lab.evidence.models import Case, LetterDocument
from lab.evidence.reach import touched_by
from lab.jobs.models import Hold, Job, JobState
from lab.lapses.models import Finding


@pytest.mark.django_db
def test_a_year_of_the_invented_lab() -> None:
    demo.fill(load, OutputWrapper(StringIO()))

    states = Counter(Job.objects.values_list("state", flat=True))
    assert set(states) == set(JobState)

    # One failed check made four sessions suspect; one certificate was amended.
    suspect = Finding.objects.filter(name="suspect")
    assert suspect.values("session").distinct().count() == 4
    assert ArtefactCheck.objects.filter(verdict="fail").count() == 1
    amended = [c for c in Certificate.objects.all() if standing_of(c) == "amended"]
    assert len(amended) == 1
    assert amended[0].job in {finding.session.job for finding in suspect}
    assert not Hold.objects.filter(clearance=None).exists()

    # The case of it is closed, the customer told; a complaint waits for somebody.
    closed = Case.objects.get(state=Case.State.CLOSED)
    assert len(touched_by(closed).sessions) == 4
    assert closed.decisions.get().certificate == amended[0]
    assert LetterDocument.objects.get().letter == closed.tellings.get().letter
    assert Case.objects.get(state=Case.State.OPEN).cause == Case.Cause.COMPLAINT

    # Every certificate has its document, and nothing that the worker did failed.
    assert Document.objects.count() == Certificate.objects.count() > 30
    assert not WorkItem.objects.filter(state="failed").exists()
    numbers = Certificate.objects.order_by("pk").values_list("number", flat=True)
    assert len(set(numbers)) == len(numbers)

    # A bar drifts from calibration to calibration; the others hardly do.
    drifting = Device.objects.get(tag="SB-2").calibrations.order_by("counts_from")
    values = [c.values.get().value.value for c in drifting]
    assert values == sorted(values)
    assert float(values[-1] - values[0]) > 0.008

    # The rooflight: rates in the Long Room on July afternoons, none in the Net Loft.
    rates = Excursion.objects.filter(kind="rate", in_force=True, start__month=7)
    zone = ZoneInfo("Europe/London")
    afternoons = [
        one
        for one in rates.filter(room__name="Long Room")
        if 15 <= one.worst_at.astimezone(zone).hour < 18
    ]
    assert len({one.start.date() for one in afternoons}) >= 4
    assert not rates.filter(room__name="Net Loft").exists()

    # The chain over all of it verifies, and filling it again changes nothing.
    found = audit.verify()
    assert found.ok
    assert found.sealed > 1000
    assert demo.is_filled()
