"""From when on a system needs a procedure, and what its limit has to defend."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.checks.models import CheckProcedure, Need, ProcedureRevision
from lab.checks.selectors import newest_procedures, standing
from lab.checks.services import add_procedure, add_system, change_procedure
from lab.common import clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.models import AuditEntry
from lab.lapses.facts import procedures_at
from lab.metrology.units import Quantity
from tests.checks.conftest import at, make_device, revise

pytestmark = pytest.mark.django_db


def codes_at(system: Any, first_at: Any) -> list[str]:
    """Return by which procedures a session that began at an instant is judged."""
    session: Any = SimpleNamespace(system_id=system.pk, first_at=first_at)
    return [one.procedure.code for one in procedures_at(session)]


def added(people: Any, system: Any, **changes: Any) -> CheckProcedure:
    values = {
        "code": "CP-09",
        "title": "Length once more",
        "kind": "length",
        "systems": [system],
        "acting_user": people.quality,
    }
    return add_procedure(**values | changes)


# --- From when on ---------------------------------------------------------------------


def test_a_new_procedure_judges_no_session_that_began_before(
    people, system, revision, bar
) -> None:
    with clock.set_to(at(12)):
        revise(people, added(people, system), bar)
    assert codes_at(system, at(11)) == ["CP-01"]
    assert codes_at(system, at(12)) == ["CP-01", "CP-09"]


def test_a_need_of_a_later_day_asks_for_nothing_before_but_can_be_measured(
    people, system, revision, bar, check
) -> None:
    with clock.set_to(at(7)):
        coming = revise(people, added(people, system, since=at(0, days=2)), bar)
    assert [one.procedure.procedure.code for one in standing(system, at(9))] == [
        "CP-01"
    ]
    assert len(newest_procedures(system, at(9, days=2))) == 2
    assert check(procedure=coming).passed


def test_a_need_that_ended_still_judges_what_was_measured_under_it(
    people, system, revision, bar, check
) -> None:
    with clock.set_to(at(7)):
        procedure = added(people, system)
        later = revise(people, procedure, bar)
        other = added(people, system, code="CP-10")
    with clock.set_to(at(12)):
        second = add_system(
            name="Second system",
            tracker=make_device(people, "TR-2", "tracker"),
            scanner=make_device(people, "SC-2", "scanner"),
            acting_user=people.quality,
        )
        change_procedure(
            procedure=procedure,
            title=procedure.title,
            systems=[second],
            acting_user=people.quality,
        )
    assert codes_at(system, at(11)) == ["CP-01", "CP-09"]
    assert codes_at(system, at(13)) == ["CP-01"]
    assert codes_at(second, at(13)) == ["CP-09"]
    with pytest.raises(WrongState, match="no procedure of Net Loft system"):
        check(now=at(13), procedure=later)
    entry = AuditEntry.objects.get(verb="procedure.changed")
    assert "Second system" in entry.values_text
    assert other.needs.count() == 1


def test_a_need_that_had_not_begun_is_taken_back(people, system, revision) -> None:
    with clock.set_to(at(7)):
        procedure = added(people, system, since=at(0, days=9))
        second = add_system(
            name="Second system",
            tracker=make_device(people, "TR-2", "tracker"),
            scanner=make_device(people, "SC-2", "scanner"),
            acting_user=people.quality,
        )
    with clock.set_to(at(8)):
        change_procedure(
            procedure=procedure,
            title=procedure.title,
            systems=[second],
            acting_user=people.quality,
        )
    assert [need.system for need in procedure.needs.all()] == [second]


def test_no_need_begins_in_the_past(people, system, revision) -> None:
    refused = pytest.raises(NotAcceptable, match="now or a later day")
    with clock.set_to(at(12)), refused as refusal:
        added(people, system, since=at(11))
    assert refusal.value.field == "since"
    assert not CheckProcedure.objects.filter(code="CP-09").exists()


def test_a_day_is_chosen_on_the_page(people, sign_in, system, revision) -> None:
    client = sign_in(Client(), people.quality)
    typed = {
        "code": "CP-09",
        "title": "Length once more",
        "kind": "length",
        "systems": [str(system.pk)],
    }
    address = reverse("checks:add-procedure")
    with clock.set_to(at(12)):
        past = client.post(address, typed | {"since": "2026-03-16"})
        assert past.status_code == 400
        assert "since" in past.context["form"].errors
        client.post(address, typed | {"since": "2026-03-20"})
        page = client.get(reverse("checks:system", args=[system.pk]))
    assert Need.objects.get(procedure__code="CP-09").since == at(0, days=3)
    assert "CP-09 Length once more is needed from 2026-03-20" in page.content.decode()


# --- What a limit defends -------------------------------------------------------------


def test_a_limit_that_does_not_defend_the_claim_is_refused_in_words(
    people, revision, bar
) -> None:
    """At the bar's metre the limit is 40 µm: it defends 40/√3 = 23.1 µm and no less."""
    count = ProcedureRevision.objects.count()
    with pytest.raises(NotAcceptable, match="does not defend") as refusal:
        revise(people, revision.procedure, bar, claimed_u=Quantity("23", "µm"))
    assert refusal.value.field == "limit_constant"
    assert "it would need a limit of 39.84 µm or less" in refusal.value.sentence
    assert ProcedureRevision.objects.count() == count
    made = revise(people, revision.procedure, bar, claimed_u=Quantity("23.2", "µm"))
    assert str(made.claimed_u) == "23.2 µm"
    capped = revise(
        people,
        revision.procedure,
        bar,
        claimed_u=Quantity("20", "µm"),
        limit_cap=Quantity("34", "µm"),
    )
    assert capped.limit_cap is not None


def test_a_size_is_compared_at_no_length(people, size_revision, sphere) -> None:
    """30/√3 = 17.3 µm: the diameter adds nothing to what the limit has to defend."""
    with pytest.raises(NotAcceptable, match="does not defend"):
        revise(
            people,
            size_revision.procedure,
            sphere,
            calibrated_label="Diameter",
            limit_constant=Quantity("30", "µm"),
            limit_per_metre=None,
            claimed_u=Quantity("17", "µm"),
        )


@pytest.mark.parametrize(
    ("changes", "message", "field"),
    [
        (
            {"claimed_u": Quantity("0", "µm")},
            "greater than zero",
            "claimed_u",
        ),
        ({"repeats": 0}, "once to 20 times", "repeats"),
        ({"repeats": 21}, "once to 20 times", "repeats"),
        ({"watched": ["western electric 9"]}, "no rule western electric 9", "watched"),
        ({"watched": ["nelson 1", "western electric 1"]}, "two sets", "watched"),
    ],
)
def test_a_revision_without_sense_keeps_nothing(
    people, revision, bar, changes, message, field
) -> None:
    with pytest.raises(NotAcceptable, match=message) as refusal:
        revise(people, revision.procedure, bar, **changes)
    assert refusal.value.field == field
    assert ProcedureRevision.objects.count() == 1


def test_rules_are_kept_in_their_order_and_shown(
    people, sign_in, revision, bar
) -> None:
    made = revise(
        people,
        revision.procedure,
        bar,
        watched=["ewma", "nelson 3", "nelson 1"],
        repeats=3,
        valid_for=timedelta(hours=12),
    )
    assert made.watched == "nelson 1\nnelson 3\newma"
    assert len(made.reading_names) == 6
    client = sign_in(Client(), people.technician)
    text = client.get(reverse("checks:procedure", args=["CP-01"])).content.decode()
    assert "Nelson rule 3: six values in a row rising or falling" in text
    assert "3 times" in text
    form = sign_in(Client(), people.quality).get(
        reverse("checks:revise", args=["CP-01"])
    )
    assert form.context["form"]["watched"].value() == ["nelson 1", "nelson 3", "ewma"]
