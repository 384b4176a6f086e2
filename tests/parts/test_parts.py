"""Parts: frozen revisions, characteristics as the drawing writes them, refusals."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry
from lab.customers.services import add_customer
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import Part, PartRevision
from lab.parts.selectors import newest_revision, revisions_in_force
from lab.parts.services import add_part, record_revision

pytestmark = pytest.mark.django_db

LENGTH = CharacteristicEntry(
    number="12",
    kind="length",
    description="Bore A to bore B",
    unit="mm",
    nominal_text="640.00",
    lower_text="-0.05",
    upper_text="0.05",
)
FLATNESS = CharacteristicEntry(
    number="13",
    kind="form",
    description="Flatness of face C",
    unit="mm",
    nominal_text="",
    upper_text="0.08",
    evaluation="minimum zone",
)
WHOLE = {
    "revision": "B",
    "material": "Steel S355",
    "expansion": Quantity("11.5", "µm/(m·K)"),
    "expansion_u": Quantity("0.6", "µm/(m·K)"),
}


@pytest.fixture
def hanger() -> Part:
    customer = add_customer(
        name="Ravelin Ropeways", address="4 Winch Lane", acting_user=PROGRAM
    )
    return add_part(
        customer=customer, number="RR-2210", name="Hanger arm", acting_user=PROGRAM
    )


def record(part: Part, people, *entries: CharacteristicEntry, **other) -> PartRevision:
    return record_revision(
        part=part,
        characteristics=entries or (LENGTH, FLATNESS),
        acting_user=people.coordinator,
        **(WHOLE | other),
    )


def test_limits_are_added_exactly(people, hanger) -> None:
    made = record(hanger, people)
    bore, flatness = made.characteristics.all()
    assert bore.tolerance.lower == Decimal("639.95")
    assert bore.tolerance.upper == Decimal("640.05")
    assert flatness.tolerance.non_negative
    assert flatness.tolerance.upper == Decimal("0.08")
    assert flatness.tolerance.lower is None
    assert newest_revision(hanger) == made


def test_inches_are_kept_as_typed_and_judged_in_millimetres(people, hanger) -> None:
    inch = replace(
        LENGTH, unit="in", nominal_text="25.0", lower_text="-.002", upper_text="0.002"
    )
    one = record(hanger, people, inch).characteristics.get()
    assert (one.nominal_text, one.unit) == ("25.0", "in")
    assert one.tolerance.upper == Decimal("635.0508")


def test_a_revision_is_frozen(people, hanger) -> None:
    made = record(hanger, people)
    made.material = "Aluminium"
    with pytest.raises(FrozenRecordChange):
        made.save()
    with pytest.raises(FrozenRecordChange):
        made.characteristics.update(nominal_text="1")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"number": "tbd"}, "only holds the place"),
        ({"kind": "colour"}, "no kind of characteristic"),
        ({"unit": "°"}, "no unit of a length"),
        ({"unit": "furlong"}, "unit must be one of"),
        ({"nominal_text": "NaN"}, "Characteristic 12"),
        ({"nominal_text": "1,234.5"}, "Characteristic 12"),
        ({"lower_text": "0.06"}, "upside down"),
        ({"lower_text": "", "upper_text": ""}, "needs a lower limit"),
        ({"kind": "form"}, "no nominal value but 0"),
        ({"kind": "form", "nominal_text": "0"}, "upper limit above zero"),
    ],
)
def test_a_requirement_that_judges_nothing_is_refused(
    people, hanger, change: dict, message: str
) -> None:
    with pytest.raises(NotAcceptable, match=message):
        record(hanger, people, replace(LENGTH, **change))
    assert not PartRevision.objects.exists()


def test_a_number_stands_once_and_there_is_at_least_one(people, hanger) -> None:
    with pytest.raises(NotAcceptable, match="12 stands there twice"):
        record(hanger, people, LENGTH, LENGTH)
    with pytest.raises(NotAcceptable, match="at least one"):
        record_revision(
            part=hanger,
            characteristics=(),
            acting_user=people.coordinator,
            **WHOLE,
        )


def test_a_correction_supersedes_and_the_old_recording_stays(people, hanger) -> None:
    old = record(hanger, people)
    with pytest.raises(NotAcceptable, match="recorded already"):
        record(hanger, people)
    new = record(hanger, people, LENGTH, supersedes=old, changes="13 was a slip.")
    assert list(revisions_in_force(hanger)) == [new]
    assert PartRevision.objects.filter(pk=old.pk).exists()
    with pytest.raises(WrongState, match="meanwhile"):
        record(hanger, people, supersedes=old)
    with pytest.raises(NotAcceptable, match="keeps the revision's name"):
        record(hanger, people, supersedes=new, revision="C")


def posted(**changes: str) -> dict[str, str]:
    rows = {
        "rows-TOTAL_FORMS": "2",
        "rows-INITIAL_FORMS": "0",
        "rows-0-number": "12",
        "rows-0-kind": "length",
        "rows-0-description": "Bore A to bore B",
        "rows-0-nominal_text": "640.00",
        "rows-0-lower_text": "-0.05",
        "rows-0-upper_text": "0.05",
        "rows-0-unit": "mm",
        "rows-1-kind": "length",
        "rows-1-unit": "mm",
    }
    whole = {
        "revision": "B",
        "material": "Steel S355",
        "expansion_text": "11.5",
        "expansion_unit": "µm/(m·K)",
        "expansion_u_text": "0.6",
        "expansion_u_unit": "µm/(m·K)",
        "mass_unit": "kg",
    }
    return rows | whole | changes


def test_a_revision_is_recorded_through_the_page(people, sign_in, hanger) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("parts:add-revision", args=[hanger.pk])
    assert client.get(page).status_code == 200
    answer = client.post(page, posted())
    made = PartRevision.objects.get()
    assert answer["Location"] == reverse("parts:revision", args=[made.pk])
    assert [c.number for c in made.characteristics.all()] == ["12"]
    entry = AuditEntry.objects.get(verb="part_revision.recorded")
    assert entry.actor == people.technician
    assert "640.00" in client.get(answer["Location"]).content.decode()
    second = client.post(page, posted())
    assert second.status_code == 400
    assert PartRevision.objects.count() == 1


def test_more_rows_keep_what_was_typed(people, sign_in, hanger) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("parts:add-revision", args=[hanger.pk])
    answer = client.post(page, posted(more="yes"))
    assert answer.status_code == 200
    assert "640.00" in answer.content.decode()
    assert 'name="rows-5-number"' in answer.content.decode()
    assert not PartRevision.objects.exists()


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("rows-0-nominal_text", "NaN"),
        ("rows-0-unit", "parsec"),
        ("expansion_text", "1e999"),
        ("expansion_u_text", "-1"),
        ("mass_text", "-4"),
        ("rows-TOTAL_FORMS", "soon"),
    ],
)
def test_nonsense_is_refused_on_the_page_and_nothing_is_kept(
    people, sign_in, hanger, field: str, typed: str
) -> None:
    client = sign_in(Client(), people.technician)
    page = reverse("parts:add-revision", args=[hanger.pk])
    answer = client.post(page, posted(**{field: typed}))
    assert answer.status_code == 400
    assert not PartRevision.objects.exists()


def test_a_part_is_added_once(people, sign_in, hanger) -> None:
    client = sign_in(Client(), people.coordinator)
    typed = {"customer": hanger.customer_id, "number": "rr-2210", "name": "Arm"}
    again = client.post(reverse("parts:add"), typed)
    assert again.status_code == 400
    assert "already" in again.content.decode()
    new = client.post(reverse("parts:add"), typed | {"number": "RR-2211"})
    made = Part.objects.get(number="RR-2211")
    assert new["Location"] == reverse("parts:add-revision", args=[made.pk])


def test_who_may_what(people, sign_in, hanger) -> None:
    reader = sign_in(Client(), people.administrator)
    assert reader.get(reverse("parts:list")).status_code == 200
    assert reader.get(reverse("parts:add")).status_code == 403
    client = sign_in(Client(), people.client)
    assert client.get(reverse("parts:detail", args=[hanger.pk])).status_code == 403
    assert sign_in(Client(), people.coordinator).get("/parts/77/").status_code == 404
    assert Client().get(reverse("parts:list")).status_code == 302
