"""Pages of systems, checks and procedures besides the one where a check is typed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from lab.checks.models import (
    ArtefactCheck,
    Break,
    CheckProcedure,
    CheckVoid,
    LateConfirmation,
    MeasuringSystem,
    ProcedureRevision,
)
from lab.checks.shown import trend
from lab.common import clock
from lab.common.models import AuditEntry
from tests.checks.conftest import A_TO_B, FAILING, at, make_device

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def noon() -> Any:
    with clock.set_to(at(12)):
        yield


def page_of(client: Client, name: str, *keys: object) -> str:
    answer = client.get(reverse(name, args=keys))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


# --- Lists --------------------------------------------------------------------------


def test_the_list_says_how_each_system_stands_and_until_when(
    people, sign_in, system, revision, check
) -> None:
    client = sign_in(Client(), people.technician)
    text = page_of(client, "checks:list")
    assert '<span class="state state-bad">Not checked</span>' in text
    record = reverse("checks:record", args=[system.pk, "CP-01"])
    assert f'class="button primary" href="{record}"' in text
    check()
    text = page_of(client, "checks:list")
    assert '<span class="state state-good">Valid</span>' in text
    assert "valid until 2026-03-17 20:00" in text
    reader = page_of(sign_in(Client(), people.coordinator), "checks:list")
    assert record not in reader


def test_the_list_asks_a_fixed_number_of_times(
    people, sign_in, revision, check, django_assert_max_num_queries
) -> None:
    check()
    for number in range(2, 22):
        made = MeasuringSystem.objects.create(
            name=f"System {number}",
            tracker=make_device(people, f"TR-{number}", "tracker"),
            scanner=make_device(people, f"SC-{number}", "scanner"),
        )
        revision.procedure.systems.add(made)
    client = sign_in(Client(), people.technician)
    with django_assert_max_num_queries(13):
        text = page_of(client, "checks:list")
    assert text.count("Not checked") == 20


def test_a_system_s_checks_are_paged_newest_first(
    people, sign_in, system, check, django_assert_max_num_queries
) -> None:
    for number in range(30):
        when = at(7) + timedelta(minutes=5 * number)
        check(started_at=when, ended_at=when, form_key=f"form-{number}")
    client = sign_in(Client(), people.technician)
    with django_assert_max_num_queries(24):
        text = page_of(client, "checks:system", system.pk)
    address = reverse("checks:system", args=[system.pk])
    page = client.get(address).context["page"]
    ended = [one.ended_at for one in page.rows]
    assert ended == sorted(ended, reverse=True)
    assert (len(ended), page.has_next, page.has_previous) == (25, True, False)
    older = client.get(address, {"page": page.next_key}).context["page"]
    assert [one.form_key for one in older.rows] == [
        f"form-{n}" for n in range(4, -1, -1)
    ]
    assert client.get(address, {"page": "seven"}).status_code == 400
    assert "<svg" in text


# --- The picture --------------------------------------------------------------------


def test_the_trend_shows_passes_fails_and_breaks_and_its_table(
    people, sign_in, system, check
) -> None:
    """30 % passes and 112 % fails; the limit lies between, the break halfway."""
    check()
    check(started_at=at(9), ended_at=at(9, 10), form_key="form-2", readings=FAILING)
    voided = check(started_at=at(10), ended_at=at(10, 10), form_key="form-3")
    CheckVoid.objects.create(
        artefact_check=voided, cause="other", reason="Not it.", voided_by=people.quality
    )
    Break.objects.create(
        system=system,
        kind="knock",
        at=at(8, 35),
        note="Fell.",
        recorded_by=people.technician,
    )
    client = sign_in(Client(), people.technician)
    text = page_of(client, "checks:system", system.pk)
    (drawn,) = client.get(reverse("checks:system", args=[system.pk])).context["trends"]
    passed, failed = drawn.picture.signs
    assert passed.title == "2026-03-17 08:00: 30 % of the limit"
    assert failed.title == "2026-03-17 09:10: 112 % of the limit, failed"
    limit = next(one for one in drawn.picture.strokes if one.title == "the limit")
    assert failed.y < limit.places[0][1] < passed.y
    knock = next(one for one in drawn.picture.strokes if "Knock" in one.title)
    # 8:35 lies halfway between 8:00 and 9:10.
    assert knock.places[0][0] == pytest.approx((passed.x + failed.x) / 2)
    assert text.count("<circle") == 1
    assert text.count("<polygon") == 1
    assert "Knock or fall, 2026-03-17 08:35" in text
    assert "The numbers behind it" in text
    assert "style=" not in text


def test_one_check_alone_is_no_trend(check) -> None:
    made = check()
    procedure = made.procedure.procedure
    assert trend(procedure, [made], []) is None
    assert trend(procedure, [], []) is None


# --- One check ----------------------------------------------------------------------


def test_a_fail_says_so_and_offers_its_void_to_the_quality_manager_alone(
    people, sign_in, check
) -> None:
    made = check(readings=FAILING)
    void = reverse("checks:void", args=[made.pk])
    for person, offered in (
        (people.technician, False),
        (people.signatory, False),
        (people.quality, True),
    ):
        text = page_of(sign_in(Client(), person), "checks:detail", made.pk)
        assert '<span class="state state-bad">Failed</span>' in text
        assert "1000.0800 mm" in text
        assert (void in text) is offered


def test_a_check_is_voided_on_its_page(people, sign_in, check) -> None:
    made = check()
    void = reverse("checks:void", args=[made.pk])
    client = sign_in(Client(), people.signatory)
    assert client.get(void).status_code == 200
    assert client.post(void, {"cause": "other", "reason": ""}).status_code == 400
    answer = {"cause": "other", "reason": "The bar was still warm from the hand."}
    assert client.post(void, answer).status_code == 302
    text = page_of(client, "checks:detail", made.pk)
    assert "The bar was still warm from the hand." in text
    assert 'class="voided"' in text
    assert void not in text
    again = client.post(void, answer)
    assert again.status_code == 400
    assert "void already" in again.content.decode()
    assert AuditEntry.objects.filter(verb="check.voided").count() == 1


def test_a_fail_is_voided_for_a_recording_error_only(people, sign_in, check) -> None:
    made = check(readings=FAILING)
    void = reverse("checks:void", args=[made.pk])
    answer = {"cause": "recording error", "reason": "Two digits were exchanged."}
    assert sign_in(Client(), people.technician).get(void).status_code == 403
    assert sign_in(Client(), people.signatory).post(void, answer).status_code == 403
    client = sign_in(Client(), people.quality)
    wrong = client.post(void, answer | {"cause": "other"})
    assert wrong.status_code == 400
    assert "cause" in wrong.context["form"].errors
    assert client.post(void, answer).status_code == 302
    assert CheckVoid.objects.get().artefact_check == made


def test_a_late_check_is_confirmed_on_its_page(people, sign_in, check) -> None:
    made = check(now=at(9))
    confirm = reverse("checks:confirm", args=[made.pk])
    own = sign_in(Client(), people.technician)
    text = page_of(own, "checks:detail", made.pk)
    assert "Passed, late" in text
    assert confirm not in text
    assert own.post(confirm, {"reason": "I did it."}).status_code == 403
    client = sign_in(Client(), people.technician2)
    assert confirm in page_of(client, "checks:detail", made.pk)
    assert client.post(confirm, {"reason": ""}).status_code == 400
    answer = {"reason": "I stood beside it."}
    assert client.post(confirm, answer).status_code == 302
    assert LateConfirmation.objects.get().confirmed_by == people.technician2
    assert "I stood beside it." in page_of(client, "checks:detail", made.pk)
    assert client.post(confirm, answer).status_code == 400


# --- Breaks -------------------------------------------------------------------------


def test_a_break_is_recorded_on_a_page_once(people, sign_in, system) -> None:
    address = reverse("checks:break", args=[system.pk])
    client = sign_in(Client(), people.technician)
    assert 'class="big"' in page_of(client, "checks:break", system.pk)
    answer = {"kind": "knock", "at": "2026-03-17T11:50", "note": "Fell off the bench."}
    for _ in range(2):
        assert client.post(address, answer).status_code == 302
    made = Break.objects.get()
    assert (made.at, made.recorded_by) == (at(11, 50), people.technician)
    assert "Fell off the bench." in page_of(client, "checks:system", system.pk)
    for change in ({"kind": "rain"}, {"at": "2026-03-17T12:30"}, {"note": "?"}):
        wrong = client.post(address, answer | change)
        assert wrong.status_code == 400
        assert list(wrong.context["form"].errors) == list(change)
    assert sign_in(Client(), people.coordinator).get(address).status_code == 403


# --- Systems and procedures ---------------------------------------------------------


def test_a_system_is_added_and_changed_on_pages(people, sign_in) -> None:
    tracker = make_device(people, "TR-9", "tracker")
    scanner = make_device(people, "SC-9", "scanner")
    client = sign_in(Client(), people.quality)
    answer = {"name": "Quay system", "tracker": tracker.pk, "scanner": scanner.pk}
    wrong = client.post(reverse("checks:add-system"), answer | {"tracker": scanner.pk})
    assert wrong.status_code == 400
    assert client.post(reverse("checks:add-system"), answer).status_code == 302
    made = MeasuringSystem.objects.get()
    change = reverse("checks:change-system", args=[made.pk])
    assert client.post(change, {"name": "Quay system"}).status_code == 302
    assert "Out of use" in page_of(client, "checks:list")
    reader = sign_in(Client(), people.technician)
    for address in (reverse("checks:add-system"), change):
        assert reader.get(address).status_code == 403


def posted_revision(bar: Any, **changes: str) -> dict[str, str]:
    return {
        "artefact": str(bar.pk),
        "calibrated_label": A_TO_B,
        "positions": "Along the room\nUpright",
        "repeats": "1",
        "limit_constant_text": "15",
        "limit_constant_unit": "µm",
        "limit_per_metre_text": "10",
        "limit_per_metre_unit": "µm",
        "limit_cap_text": "",
        "limit_cap_unit": "µm",
        "acceptance": "guarded",
        "temperature_u_text": "0.1",
        "temperature_u_unit": "K",
        "valid_for": "4.5",
        "closing_wanted": "on",
        "closing_within": "20",
    } | changes


def test_a_procedure_is_started_and_written_on_pages(
    people, sign_in, system, bar
) -> None:
    client = sign_in(Client(), people.quality)
    start = {
        "code": "CP-05",
        "title": "Length of the steel bar",
        "kind": "length",
        "systems": [system.pk],
    }
    answer = client.post(reverse("checks:add-procedure"), start)
    revise = reverse("checks:revise", args=["CP-05"])
    assert answer["Location"] == revise
    assert client.post(reverse("checks:add-procedure"), start).status_code == 400
    assert "not written yet" in page_of(client, "checks:procedures")
    assert "says nothing yet" in page_of(client, "checks:procedure", "CP-05")
    assert f'<option value="{A_TO_B}">' in page_of(client, "checks:revise", "CP-05")
    assert client.post(revise, posted_revision(bar)).status_code == 302
    made = ProcedureRevision.objects.get()
    assert made.valid_for == timedelta(hours=4, minutes=30)
    assert (made.position_names, made.acceptance) == (
        ["Along the room", "Upright"],
        "guarded",
    )
    text = page_of(client, "checks:procedure", "CP-05")
    assert "15 µm + 10 µm per metre" in text
    assert "4.5 h" in text
    assert "SB-1" in page_of(client, "checks:procedures")
    begun = client.get(revise).context["form"]
    assert begun["valid_for"].value() == "4.5"
    assert begun["positions"].value() == "Along the room\nUpright"


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("limit_constant_text", "NaN"),
        ("limit_constant_unit", "K"),
        ("limit_cap_text", "5"),
        ("temperature_u_unit", "°C"),
        ("positions", " "),
        ("calibrated_label", "Length X"),
        ("valid_for", "0"),
        ("valid_for", "-1"),
        ("valid_for", "soon"),
    ],
)
def test_nonsense_in_a_revision_is_said_beside_its_field(
    people, sign_in, revision, bar, field: str, text: str
) -> None:
    client = sign_in(Client(), people.quality)
    revise = reverse("checks:revise", args=["CP-01"])
    answer = client.post(revise, posted_revision(bar, **{field: text}))
    assert answer.status_code == 400
    (wrong,) = answer.context["form"].errors
    expected = field.removesuffix("_text").removesuffix("_unit")
    assert wrong == {"limit_cap": "limit_constant"}.get(expected, expected)
    assert ProcedureRevision.objects.count() == 1


def test_a_procedure_s_systems_are_changed_on_a_page(
    people, sign_in, system, revision
) -> None:
    client = sign_in(Client(), people.quality)
    address = reverse("checks:change-procedure", args=["CP-01"])
    begun = client.get(address).context["form"]
    assert list(begun["systems"].value()) == [system.pk]
    answer = {"title": "Bar", "systems": [system.pk]}
    assert client.post(address, answer).status_code == 302
    assert CheckProcedure.objects.get().title == "Bar"
    assert client.post(address, {"title": "Bar"}).status_code == 400


def test_the_list_of_procedures_asks_a_fixed_number_of_times(
    people, sign_in, system, revision, django_assert_max_num_queries
) -> None:
    for number in range(2, 22):
        made = CheckProcedure.objects.create(
            code=f"CP-{number}", title="Once more", kind="length"
        )
        made.systems.add(system)
    client = sign_in(Client(), people.technician)
    with django_assert_max_num_queries(12):
        page_of(client, "checks:procedures")


# --- Who ----------------------------------------------------------------------------


def test_who_sees_checks(people, sign_in, system, check) -> None:
    made = check()
    addresses = [
        reverse("checks:list"),
        reverse("checks:system", args=[system.pk]),
        reverse("checks:detail", args=[made.pk]),
        reverse("checks:procedures"),
        reverse("checks:procedure", args=["CP-01"]),
    ]
    reader = sign_in(Client(), people.administrator)
    outsider = sign_in(Client(), people.client)
    for address in addresses:
        assert reader.get(address).status_code == 200
        assert reader.post(address).status_code == 405
        assert outsider.get(address).status_code == 403
        assert Client().get(address).status_code == 302
    for name in ("checks:add-procedure", "checks:revise", "checks:change-procedure"):
        keys = [] if name == "checks:add-procedure" else ["CP-01"]
        assert reader.get(reverse(name, args=keys)).status_code == 403
    for address in ("/checks/77/", "/checks/systems/77/", "/checks/procedures/CP-77/"):
        assert reader.get(address).status_code == 404
    assert ArtefactCheck.objects.count() == 1
