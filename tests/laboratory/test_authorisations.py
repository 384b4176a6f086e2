"""Who is authorised when: half-open windows, revocations, deputies."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from lab.common import clock
from lab.common.audit import history_of
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry
from lab.laboratory import services
from lab.laboratory.matrix import Cell, authority
from lab.laboratory.models import Activity, Authorisation, Deputation
from lab.laboratory.selectors import grounds_for, home_zone, is_authorised

SECOND = timedelta(seconds=1)
#: Ten in the morning on the wall at the lab, three hours east of UTC.
GRANTED = datetime(2031, 6, 2, 7, tzinfo=UTC)
TODAY = date(2031, 6, 2)


def midnight(day: date) -> datetime:
    """Return the lab's midnight at which a day begins."""
    return datetime.combine(day, time.min, tzinfo=ZoneInfo("Europe/Tallinn"))


@pytest.fixture
def measure(house: Any) -> Any:
    """Return a function that asks whether a person may measure at an instant."""

    def may(person: Any, at: datetime, activity: str = "measure") -> bool:
        return is_authorised(person, house.method, activity, at)

    return may


# --- Windows --------------------------------------------------------------------------


def test_nobody_is_authorised_at_first(measure: Any, people: Any) -> None:
    assert not measure(people.technician, GRANTED)


def test_it_counts_from_the_grant_to_the_midnight_after_its_last_day(
    grant: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        grant(people.technician, "measure", valid_until=date(2031, 6, 30))
    end = midnight(date(2031, 7, 1))
    assert [
        measure(people.technician, at)
        for at in (GRANTED - SECOND, GRANTED, end - SECOND, end)
    ] == [False, True, True, False]


def test_it_counts_from_the_midnight_that_begins_its_first_day(
    grant: Any, measure: Any, people: Any
) -> None:
    first = date(2031, 6, 9)
    with clock.set_to(GRANTED):
        grant(people.technician, "measure", valid_from=first)
    assert not measure(people.technician, midnight(first) - SECOND)
    assert measure(people.technician, midnight(first))
    assert measure(people.technician, midnight(date(2041, 6, 9)))


def test_it_is_for_one_person_method_and_activity(
    grant: Any, house: Any, measure: Any, people: Any
) -> None:
    other = services.start_method(
        code="MP-02", title="Angles", acting_user=people.quality
    )
    with clock.set_to(GRANTED):
        grant(people.technician, "measure")
    assert measure(people.technician, GRANTED)
    assert not measure(people.technician, GRANTED, "review")
    assert not measure(people.technician2, GRANTED)
    assert not is_authorised(people.technician, other, "measure", GRANTED)


def test_a_revocation_counts_from_its_instant(
    grant: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        authorisation = grant(people.technician, "measure")
    at = GRANTED + timedelta(days=3)
    with clock.set_to(at):
        services.revoke_authorisation(
            authorisation=authorisation,
            reason="Two jobs measured wrongly.",
            acting_user=people.quality,
        )
        with pytest.raises(WrongState, match="revoked already"):
            services.revoke_authorisation(
                authorisation=authorisation, reason="Again.", acting_user=people.quality
            )
    assert measure(people.technician, at - SECOND)
    assert not measure(people.technician, at)
    entry = history_of(authorisation).first()
    assert entry is not None
    assert (entry.verb, entry.reason) == (
        "authorisation.revoked",
        "Two jobs measured wrongly.",
    )


def test_a_renewal_outlives_what_it_renews(
    grant: Any, house: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        grant(people.technician, "measure", valid_until=date(2031, 6, 30))
        longer = grant(people.technician, "measure", valid_until=date(2031, 12, 31))
    at = midnight(date(2031, 7, 1))
    grounds = grounds_for(people.technician, house.method, "measure", at)
    assert grounds is not None
    assert (grounds.authorisation, grounds.deputation) == (longer, None)
    with clock.set_to(GRANTED):
        endless = grant(people.technician, "measure")
    grounds = grounds_for(people.technician, house.method, "measure", at)
    assert grounds is not None
    assert grounds.authorisation == endless


# --- Granting -------------------------------------------------------------------------


def test_a_grant_leaves_its_entry(grant: Any, people: Any) -> None:
    with clock.set_to(GRANTED):
        authorisation = grant(people.technician, "measure")
    entry = history_of(authorisation).get()
    assert (entry.verb, entry.actor) == ("authorisation.granted", people.quality)
    assert '"evidence":"Witnessed on two jobs."' in entry.values_text


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("valid_from", {"valid_from": TODAY - timedelta(days=1)}),
        ("valid_until", {"valid_until": TODAY - timedelta(days=1)}),
        ("evidence", {"evidence": "n/a"}),
    ],
)
def test_a_grant_unfit_is_refused(
    field: str, changes: dict[str, Any], grant: Any, people: Any
) -> None:
    with clock.set_to(GRANTED), pytest.raises(NotAcceptable) as refusal:
        grant(people.technician, "measure", **changes)
    assert refusal.value.field == field
    assert not Authorisation.objects.exists()


def test_clients_and_those_who_left_are_not_authorised(grant: Any, people: Any) -> None:
    people.technician3.is_active = False
    people.technician3.save(update_fields=["is_active"])
    for person in (people.client, people.technician3):
        with pytest.raises(NotAcceptable, match="no active member"):
            grant(person, "measure")
    with pytest.raises(NotAcceptable, match="no activity"):
        grant(people.technician, "sing")


def test_only_the_quality_manager_grants(house: Any, people: Any) -> None:
    for person in (people.administrator, people.signatory, people.technician):
        with pytest.raises(NotAllowed):
            services.grant_authorisation(
                person=people.technician,
                method=house.method,
                activity="measure",
                valid_from=TODAY,
                valid_until=None,
                evidence="Witnessed.",
                acting_user=person,
            )


def test_grants_and_deputations_are_frozen(grant: Any, people: Any) -> None:
    with clock.set_to(GRANTED):
        grant(people.technician, "measure")
        stand_in(people)
    for row in (Authorisation.objects.get(), Deputation.objects.get()):
        with pytest.raises(FrozenRecordChange):
            row.save()
        with pytest.raises(FrozenRecordChange):
            type(row).objects.update(valid_until=None)
        with pytest.raises(FrozenRecordChange):
            row.delete()


# --- Deputies -------------------------------------------------------------------------


def stand_in(people: Any, **changes: Any) -> Deputation:
    content = {
        "person": people.signatory,
        "deputy": people.technician2,
        "valid_from": TODAY,
        "valid_until": date(2031, 6, 13),
        "reason": "On leave.",
    }
    return services.name_deputy(acting_user=people.quality, **content | changes)


def test_a_deputy_reviews_and_authorises_but_never_measures(
    grant: Any, house: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        lent = {
            activity: grant(people.signatory, activity) for activity in Activity.values
        }
        deputation = stand_in(people)
    allowed = [a for a in Activity.values if measure(people.technician2, GRANTED, a)]
    assert allowed == ["review", "authorise"]
    grounds = grounds_for(people.technician2, house.method, "review", GRANTED)
    assert grounds is not None
    assert (grounds.authorisation, grounds.deputation) == (lent["review"], deputation)


def test_standing_in_is_half_open_too(grant: Any, measure: Any, people: Any) -> None:
    with clock.set_to(GRANTED):
        grant(people.signatory, "review")
        stand_in(people)
    end = midnight(date(2031, 6, 14))
    assert measure(people.technician2, end - SECOND, "review")
    assert not measure(people.technician2, end, "review")
    assert not measure(people.technician2, GRANTED - SECOND, "review")


def test_standing_in_can_end_early_and_only_once(
    grant: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        grant(people.signatory, "review")
        deputation = stand_in(people)
    at = GRANTED + timedelta(days=2)
    with clock.set_to(at):
        services.end_deputation(deputation=deputation, acting_user=people.quality)
        count = AuditEntry.objects.count()
        services.end_deputation(deputation=deputation, acting_user=people.quality)
    assert AuditEntry.objects.count() == count
    assert history_of(deputation).first().verb == "deputation.ended"  # type: ignore[union-attr]
    assert measure(people.technician2, at - SECOND, "review")
    assert not measure(people.technician2, at, "review")


def test_a_deputy_s_deputy_counts_for_nothing(
    grant: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        grant(people.signatory, "review")
        stand_in(people)
        stand_in(people, person=people.technician2, deputy=people.technician3)
    assert measure(people.technician2, GRANTED, "review")
    assert not measure(people.technician3, GRANTED, "review")


def test_a_deputy_lends_nothing_that_has_run_out(
    grant: Any, measure: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        grant(people.signatory, "review", valid_until=TODAY)
        stand_in(people)
    assert not measure(people.technician2, midnight(date(2031, 6, 3)), "review")


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("valid_from", {"valid_from": TODAY - timedelta(days=1)}),
        ("valid_until", {"valid_until": TODAY - timedelta(days=1)}),
        ("reason", {"reason": "-"}),
    ],
)
def test_a_deputation_unfit_is_refused(
    field: str, changes: dict[str, Any], house: Any, people: Any
) -> None:
    with clock.set_to(GRANTED), pytest.raises(NotAcceptable) as refusal:
        stand_in(people, **changes)
    assert refusal.value.field == field


def test_nobody_stands_in_for_themself_and_no_client_does(
    house: Any, people: Any
) -> None:
    with clock.set_to(GRANTED):
        with pytest.raises(NotAcceptable, match="Nobody stands in"):
            stand_in(people, deputy=people.signatory)
        with pytest.raises(NotAcceptable, match="no active member"):
            stand_in(people, deputy=people.client)


# --- Seen whole -----------------------------------------------------------------------


def cells_of(person: Any, method: Any, at: datetime) -> dict[str, Cell]:
    (table,) = authority(at, home_zone(), method)
    (row,) = [row for row in table.rows if row.person == person]
    return {cell.activity.value: cell for cell in row.cells}


def test_the_matrix_says_each_case_in_a_word_and_a_shape(
    grant: Any, house: Any, people: Any
) -> None:
    who = people.technician2
    with clock.set_to(GRANTED):
        grant(who, "measure", valid_until=date(2031, 12, 31))
        grant(who, "evaluate", valid_from=date(2031, 6, 9))
        grant(people.signatory, "review")
        stand_in(people)
    cells = cells_of(who, house.method, GRANTED)
    assert {key: (cell.state, cell.words) for key, cell in cells.items()} == {
        "measure": ("good", "until 2031-12-31"),
        "evaluate": ("off", "from 2031-06-09"),
        "review": ("wait", "for Ottoline Marsh until 2031-06-13"),
        "authorise": ("off", "not authorised"),
    }
    later = cells_of(who, house.method, midnight(date(2031, 12, 1)))
    assert later["measure"].words == "ends 2031-12-31"
    assert later["measure"].state == "wait"
    assert later["evaluate"].words == "no end set"
    ended = cells_of(who, house.method, midnight(date(2032, 1, 1)))["measure"]
    assert (ended.state, ended.words, ended.is_gap) == ("bad", "ended 2031-12-31", True)


def test_the_matrix_and_the_question_agree(grant: Any, house: Any, people: Any) -> None:
    with clock.set_to(GRANTED):
        gone = grant(people.technician, "measure")
        grant(people.technician2, "measure", valid_until=date(2031, 6, 12))
        grant(people.technician3, "measure", valid_from=date(2031, 6, 12))
        grant(people.signatory, "authorise", valid_until=date(2031, 6, 12))
        stand_in(people)
    with clock.set_to(GRANTED + timedelta(days=1)):
        services.revoke_authorisation(
            authorisation=gone, reason="Left.", acting_user=people.quality
        )
    for hours in range(0, 24 * 14, 5):
        at = GRANTED - timedelta(hours=24) + timedelta(hours=hours)
        (table,) = authority(at, home_zone(), house.method)
        for row in table.rows:
            for cell in row.cells:
                asked = is_authorised(row.person, house.method, cell.activity, at)
                assert asked == (not cell.is_gap), (at, row.person, cell)


def test_what_nobody_may_do_is_named(grant: Any, house: Any, people: Any) -> None:
    with clock.set_to(GRANTED):
        grant(people.technician, "measure")
    (table,) = authority(GRANTED, home_zone(), house.method)
    assert table.gaps == ["evaluate", "review", "authorise"]


def test_the_matrix_takes_as_many_queries_for_many_as_for_one(
    grant: Any, people: Any, django_assert_num_queries: Any
) -> None:
    with clock.set_to(GRANTED):
        for person in (people.technician, people.technician2, people.signatory):
            for activity in Activity.values:
                grant(person, activity)
        stand_in(people)
        for code in ("MP-02", "MP-03"):
            services.start_method(code=code, title="More", acting_user=people.quality)
    zone = home_zone()
    with django_assert_num_queries(4):
        tables = authority(GRANTED, zone)
    assert len(tables) == 3
