"""An archive, small: all of it judged at once, and pages that don't grow with it."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.urls import resolve

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.work.running import work_off
from lab.jobs.models import Hold
from lab.lapses.archive import differences
from lab.lapses.models import Finding, Judgement
from lab.lapses.services import judge_session
from tests.archive import Archive
from tests.archive_pages import MOST_QUERIES, pages_of, queries_and_time
from tests.chain import Lab, at, check, measured_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def archive(lab: Lab) -> Archive:
    opening = check(lab, at(6, 30))
    job, _ = measured_job(lab)
    with clock.set_to(at(12)):
        work_off()
    made = Archive(lab, job, opening)
    made.prepare()
    made.write(47, 53)
    return made


def test_what_nobody_judged_is_reported_and_judged(archive: Archive) -> None:
    with clock.set_to(at(12)):
        found = list(differences(clock.now()))
        with pytest.raises(CommandError):
            call_command("judge-all")
        # In one turn the checks of both systems failed: two sessions of each before it
        # are suspect, two after it unchecked. The newest four lapsed: no check closed
        # them for days.
        assert len(found) == 12
        call_command("judge-all", "--write")
        assert list(differences(clock.now())) == []
    assert Finding.objects.count() == Hold.objects.count() > 0


def test_all_at_once_and_one_by_one_say_the_same(archive: Archive) -> None:
    with clock.set_to(at(12)):
        judgements = list(Judgement.objects.select_related("session")[8:20])
        for judgement in judgements:
            judge_session(session=judgement.session, acting_user=PROGRAM)
        judged = {judgement.session_id for judgement in judgements}
        found = {one.session for one in differences(clock.now())}
    assert not judged & found


#: Pages that still make more than fifteen queries, whatever the archive's size.
STILL_OVER = ("home", "checks:system", "equipment:detail", "board:job")


def test_no_page_makes_more_queries_in_a_larger_archive(archive: Archive) -> None:
    with clock.set_to(at(12)):
        pages = pages_of(archive.lab)
        before = {one: queries_and_time(archive.lab, one)[0] for one in pages}
        archive.write(53, 60)
        after = {one: queries_and_time(archive.lab, one)[0] for one in pages}
    grown = {one for one in pages if after[one] > before[one]}
    over = {resolve(one).view_name for one in pages if after[one] > MOST_QUERIES}
    assert grown == set()
    assert over <= set(STILL_OVER)
