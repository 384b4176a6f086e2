"""Control charts: what the limits stand on, which rules fire, what a page shows."""

from __future__ import annotations

from datetime import datetime, timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.db.models import F
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from lab.checks.charting.control import control_of
from lab.checks.charting.plots import control_page
from lab.checks.charting.series import LEAD_IN, series_of
from lab.checks.models import (
    ArtefactCheck,
    Break,
    ChartWarning,
    CheckReading,
    CheckVoid,
    WatchedRule,
)
from lab.checks.report import system_report
from lab.checks.selectors import open_warnings, standing
from lab.checks.services import acknowledge_warning
from lab.common import clock
from lab.common.charts import period_asked_for
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.models import AuditEntry
from lab.laboratory.models import CheckKind
from lab.metrology.charts import nelson, western_electric
from lab.metrology.units import Quantity
from tests.checks.conftest import ACROSS, ALONG, at, calibrate, make_device, revise

pytestmark = pytest.mark.django_db
#: When the first check is done, and when its day begins.
EIGHT, MIDNIGHT = at(8), at(0)
#: A steady system: mean 0, and moving ranges of 4 µm (sigma 3.545 µm).
STEADY = [2.0, -2.0] * 10


@pytest.fixture
def watched(people, revision, bar):
    """The procedure's second revision, which watches three rules."""
    with clock.set_to(at(6)):
        return revise(
            people,
            revision.procedure,
            bar,
            watched=["western electric 1", "western electric 4", "ewma"],
        )


@pytest.fixture
def history(people, system, thermometer):
    """Return a function that writes one check a day with given errors in µm."""

    def write(
        errors_um: list[float], revision: Any, *, first: datetime = EIGHT
    ) -> list[ArtefactCheck]:
        calibration = revision.artefact.calibrations.get()
        return [
            written(number, error, revision, first, calibration)
            for number, error in enumerate(errors_um)
        ]

    def written(number, error, revision, first, calibration) -> ArtefactCheck:
        ended = first + timedelta(days=number)
        check = ArtefactCheck.objects.create(
            system=system,
            procedure=revision,
            calibration=calibration,
            started_at=ended - timedelta(minutes=10),
            ended_at=ended,
            recorded_at=ended,
            thermometer=thermometer,
            verdict="pass" if abs(error) <= 40 else "fail",
            worst_share=abs(error) / 40,
            reason="As read.",
            measured_by=people.technician,
            form_key=str(uuid4()),
            **ArtefactCheck.artefact_temperature.columns(Quantity("20", "°C")),
        )
        for position, share in ((ALONG, 1.5), (ACROSS, 0.5)):
            CheckReading.objects.create(
                artefact_check=check,
                position=position,
                reference_mm=1000.0,
                error_mm=error * share / 1000,
                limit_mm=0.040,
                acceptance_limit_mm=0.038,
                u_test_mm=0.002,
                passed=True,
                **CheckReading.measured.columns(Quantity("1000", "mm")),
            )
        return check

    return write


def control(system, revision, *, start=MIDNIGHT, days=400, position=""):
    end = start + timedelta(days=days)
    procedure = revision.procedure
    return control_of(
        series_of(system, procedure, start=start, end=end, position=position)
    )


def break_of(people, system, kind: str, when: datetime) -> Break:
    return Break.objects.create(
        system=system, kind=kind, at=when, note="So.", recorded_by=people.technician
    )


# --- What the limits stand on ---------------------------------------------------------


def test_the_rules_are_called_as_the_computation_calls_them() -> None:
    """A run that fires every rule of a set shows the words of each."""
    z = [0.5] * 15 + [1.5, -1.5] * 8 + [2.5] * 3 + [4.0] + [float(n) for n in range(8)]
    for name, rules in (("western electric", western_electric), ("nelson", nelson)):
        for signal in rules(z):
            label = WatchedRule(f"{name} {signal.rule}").label
            assert label.endswith(f"rule {signal.rule}: {signal.words}")


def test_limits_stand_on_the_first_twenty_and_follow_no_drift(
    system, watched, history
) -> None:
    """Mean 0, mean moving range 4 µm: sigma is 4 / (2/√π) = 3.545 µm."""
    history(STEADY + [3.0 + n for n in range(20)], watched)
    (phase,) = control(system, watched).phases
    assert phase.baseline.count == 20
    assert phase.baseline.centre == pytest.approx(0.0, abs=1e-9)
    assert phase.baseline.sigma == pytest.approx(4.0 * 3.14159265359**0.5 / 2)
    assert phase.phase.in_baseline == 20


def test_few_checks_make_provisional_limits_and_fire_nothing(
    system, watched, history
) -> None:
    history([2.0, -2.0] * 3, watched)
    (few,) = control(system, watched).phases
    assert few.baseline is None
    assert "Fewer than 8 checks passed since the first check" in few.missing
    history([2.0, -2.0, 2.0, 30.0], watched, first=at(8, days=6))
    found = control(system, watched)
    assert found.phases[0].baseline.is_provisional
    assert found.fired == []


def test_equal_readings_are_too_coarse_for_limits(system, watched, history) -> None:
    history([1.0] * 12, watched)
    (phase,) = control(system, watched).phases
    assert "record more digits" in phase.missing


def test_a_failed_check_is_charted_and_left_out_of_the_limits(
    system, watched, history
) -> None:
    history([*STEADY[:6], 90.0, *STEADY], watched)
    (phase,) = control(system, watched).phases
    assert (phase.baseline.count, phase.baseline.left_out) == (20, (6,))
    assert phase.baseline.centre == pytest.approx(0.0, abs=1e-9)


def test_a_void_check_is_no_value(people, system, watched, history) -> None:
    made = history(STEADY, watched)
    CheckVoid.objects.create(
        artefact_check=made[3], cause="other", reason="So.", voided_by=people.quality
    )
    assert len(control(system, watched).series.checks) == 19


def test_an_adjustment_begins_a_phase_and_a_knock_only_parts_the_runs(
    people, system, watched, history
) -> None:
    history(STEADY + STEADY, watched)
    break_of(people, system, "adjustment", at(0, days=20))
    break_of(people, system, "knock", at(0, days=30))
    found = control(system, watched)
    assert [(one.phase.first, one.phase.stop) for one in found.phases] == [
        (0, 20),
        (20, 40),
    ]
    assert found.phases[1].phase.cause == "adjustment"
    assert found.series.starts == [20, 30]
    assert set(range(1, 40)) - set(found.moving_ranges) == {20, 30}


def test_another_artefact_begins_a_phase(people, system, watched, history) -> None:
    history(STEADY, watched)
    with clock.set_to(at(6)):
        bar = make_device(
            people,
            "SB-2",
            "scale bar",
            expansion=Quantity("1", "µm/(m·K)"),
            expansion_u=Quantity("0.1", "µm/(m·K)"),
        )
        calibrate(people, bar, certificate_number="HC-SB-2-2601")
        other = revise(people, watched.procedure, bar)
    history(STEADY, other, first=at(8, days=20))
    causes = [one.phase.cause for one in control(system, other).phases]
    assert causes == ["the first check", "the change to SB-2"]


def test_a_period_in_an_old_archive_has_the_limits_of_its_phase(
    people, system, watched, history, django_assert_max_num_queries
) -> None:
    """200 checks; the last ten are looked at, and the first twenty count."""
    history(STEADY * 10, watched)
    whole = control(system, watched)
    with django_assert_max_num_queries(8):
        late = control(system, watched, start=at(0, days=190))
    assert len(late.series.shown) == 10
    assert late.series.shown_from == LEAD_IN
    assert late.phases[0].baseline == whole.phases[0].baseline
    last = len(late.series.checks) - 1
    assert late.averages[last] == pytest.approx(whole.averages[199], abs=1e-9)


def test_one_position_is_charted_by_itself(system, watched, history) -> None:
    """The conftest's readings err by 1.5 and by 0.5 of the mean."""
    history([2.0, -4.0], watched)
    procedure = watched.procedure
    span = {"start": at(0), "end": at(0, days=9)}
    mean = series_of(system, procedure, **span)
    along = series_of(system, procedure, position=ALONG, **span)
    assert mean.errors_um == pytest.approx([2.0, -4.0])
    assert along.errors_um == pytest.approx([3.0, -6.0])
    assert series_of(system, procedure, position="Nowhere", **span).checks == []


# --- Rules that fire ------------------------------------------------------------------


def test_watched_rules_fire_after_the_baseline_and_others_stay_silent(
    system, watched, history
) -> None:
    """14 µm lie beyond 3 sigma (10.6 µm); two of three beyond 2 sigma isn't watched."""
    history([*STEADY, 14.0, 8.0], watched)
    found = control(system, watched)
    assert [(one.index, one.rule.value) for one in found.fired] == [
        (20, "western electric 1"),
        (21, "ewma"),
    ]
    assert "one value beyond 3 sigma. Mean error +14.0 µm" in found.fired[0].words


@pytest.mark.parametrize(
    ("later", "rule"),
    [
        ([0.5] * 8, "western electric 4"),
        ([11.0], "western electric 1"),
        ([5.0] * 7, "ewma"),
    ],
)
def test_the_check_that_completes_a_rule_leaves_a_warning(
    system, watched, history, check, later, rule
) -> None:
    history([*STEADY, *later[:-1]], watched)
    day = len(STEADY) + len(later) - 1
    length = 1000.0123 * (1 + 2 * 11.5e-6) + later[-1] / 1000
    made = check(
        procedure=watched,
        started_at=at(7, 40, days=day),
        ended_at=at(8, days=day),
        readings={name: Quantity(f"{length:.6f}", "mm") for name in (ALONG, ACROSS)},
    )
    assert rule in {warning.rule for warning in made.warnings.all()}
    entry = AuditEntry.objects.filter(verb="warning.given").first()
    assert entry is not None
    (one,) = standing(system, at(9, days=day))
    assert (one.word, one.shape) == ("Valid, with a warning", "state-wait")


def test_a_procedure_that_watches_nothing_warns_of_nothing(
    system, revision, history, check, django_assert_max_num_queries
) -> None:
    history(STEADY, revision)
    check(started_at=at(7, 40, days=20), ended_at=at(8, days=20))
    assert not ChartWarning.objects.exists()


@pytest.fixture
def warning(system, watched, history, check) -> ChartWarning:
    history(STEADY, watched)
    made = check(
        procedure=watched,
        started_at=at(7, 40, days=20),
        ended_at=at(8, days=20),
        readings={name: Quantity("1000.0533", "mm") for name in (ALONG, ACROSS)},
    )
    return made.warnings.get(rule="western electric 1")


def test_a_warning_stays_until_it_is_acknowledged_with_a_note(
    people, sign_in, system, warning
) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("checks:acknowledge", args=[warning.pk])
    page = reverse("checks:system", args=[system.pk])
    with clock.set_to(at(9, days=20)):
        before = client.get(page).content.decode()
        assert address in before
        assert "Valid, with a warning" in before
        assert "with a warning" in client.get(reverse("home")).content.decode()
        assert client.post(address, {"note": " - "}).status_code == 400
        assert client.post(address, {"note": "Nest cleaned."}).status_code == 302
        again = client.post(address, {"note": "Once more."})
        assert "acknowledged already" in again.content.decode()
        for other in open_warnings(system):
            acknowledge_warning(
                warning=other, note="The same.", acting_user=people.technician
            )
        after = client.get(page).content.decode()
    assert "with a warning" not in after
    assert AuditEntry.objects.filter(verb="warning.acknowledged").exists()
    charts = client.get(
        reverse("checks:charts", args=[system.pk, "CP-01"]),
        {"from": "2026-03-01", "to": "2026-04-30"},
    )
    assert "Nest cleaned." in charts.content.decode()


def test_who_acknowledges_a_warning(people, sign_in, warning) -> None:
    with pytest.raises(NotAllowed):
        acknowledge_warning(
            warning=warning, note="Seen.", acting_user=people.coordinator
        )
    with pytest.raises(NotAcceptable):
        acknowledge_warning(warning=warning, note="", acting_user=people.technician)
    acknowledge_warning(warning=warning, note="Seen.", acting_user=people.technician)
    with pytest.raises(WrongState):
        acknowledge_warning(warning=warning, note="Seen.", acting_user=people.quality)
    client = sign_in(Client(), people.technician)
    missing = reverse("checks:acknowledge", args=[warning.pk + 99])
    assert client.get(missing).status_code == 404


def test_the_warning_of_a_void_check_is_open_no_longer(people, system, warning) -> None:
    CheckVoid.objects.create(
        artefact_check=warning.artefact_check,
        cause="other",
        reason="So.",
        voided_by=people.quality,
    )
    assert not open_warnings(system).exists()


# --- Pages and paper ------------------------------------------------------------------


def test_a_page_shows_three_pictures_the_marks_and_the_table(
    people, sign_in, system, watched, history, django_assert_max_num_queries
) -> None:
    history([*STEADY, 14.0, 90.0], watched)
    break_of(people, system, "knock", at(0, days=15))
    client = sign_in(Client(), people.technician)
    address = reverse("checks:charts", args=[system.pk, "CP-01"])
    with django_assert_max_num_queries(22):
        page = client.get(address, {"from": "2026-03-01", "to": "2026-04-30"})
    text = page.content.decode()
    assert text.count("<svg") == 3
    assert "Western Electric rule 1: one value beyond 3 sigma" in text
    assert "Knock or fall, 2026-04-01" in text
    assert text.count("+14.0 µm") >= 2
    assert "style=" not in text
    near = client.get(address, {"from": "2026-04-01", "to": "2026-04-03", "of": ALONG})
    assert len(near.context["chart"].rows) == 3
    assert f"error at “{ALONG}”" in near.content.decode()
    empty = client.get(address, {"from": "2020-01-01", "to": "2020-02-01"})
    assert "No check by this procedure counts" in empty.content.decode()
    nowhere = reverse("checks:charts", args=[system.pk, "CP-77"])
    assert client.get(nowhere).status_code == 404


def test_a_failed_check_stands_at_the_edge_and_presses_no_other(
    system, watched, history
) -> None:
    """±2 µm against a failed 500 µm: the steady values keep most of the height."""
    history([*STEADY, 500.0], watched)
    period = period_asked_for({"from": "2026-03-01", "to": "2026-04-30"})
    page = control_page(system, watched.procedure, period)
    *steady, failed = page.pictures[0].signs
    assert failed.shape == "triangle"
    assert failed.y == min(sign.y for sign in page.pictures[0].signs)
    heights = [sign.y for sign in steady]
    assert max(heights) - min(heights) > 20
    assert any("accepted up to an error of 38.0 µm" in one for one in page.said)


def test_the_limit_of_a_form_has_no_lower_side(system, watched, history) -> None:
    history([9 * value for value in STEADY], watched)
    period = period_asked_for({"from": "2026-03-01", "to": "2026-04-30"})
    procedure = watched.procedure

    def sides() -> int:
        picture = control_page(system, procedure, period).pictures[0]
        return sum(one.title == "Accepted up to here" for one in picture.strokes)

    assert sides() == 2
    procedure.kind = CheckKind.FLAT_FORM
    assert sides() == 1


def test_the_report_holds_charts_checks_voids_breaks_and_what_was_done(
    people, sign_in, system, warning, thermometer
) -> None:
    break_of(people, system, "transport", at(0, days=15))
    first = ArtefactCheck.objects.order_by("ended_at").first()
    CheckVoid.objects.create(
        artefact_check=first,
        cause="other",
        reason="Wrong <b>bar</b>.",
        voided_by=people.quality,
    )
    acknowledge_warning(
        warning=warning, note="Nest cleaned \U0001f980.", acting_user=people.technician
    )
    client = sign_in(Client(), people.technician)
    address = reverse("checks:report", args=[system.pk])
    with clock.set_to(at(12, days=21)):
        answer = client.get(address, {"from": "2026-03-01", "to": "2026-04-30"})
    assert answer["Content-Type"] == "application/pdf"
    assert (
        'filename="net-loft-system-2026-03-01-2026-04-30.pdf"'
        in (answer["Content-Disposition"])
    )
    reader = PdfReader(BytesIO(answer.content))
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    for said in (
        "Saltmarsh Dimensional",
        "Net Loft system: checks and control charts",
        "Drawn 2026-04-07 13:00 +01:00",
        "Error of each check (mean of all readings)",
        "limit 20 µm + 20 µm per metre",
        "upper limit",
        "Western Electric rule 1",
        "Nest cleaned [U+1F980].",
        "Void: Wrong <b>bar</b>.",
        "Transport",
        "page 1",
    ):
        assert said in text, said
    with clock.set_to(at(12, days=21)):
        nothing = system_report(
            system, period_asked_for({"from": "2020-01-01", "to": "2020-02-01"})
        )
    assert "None in this period." in PdfReader(BytesIO(nothing)).pages[0].extract_text()


def test_the_worst_share_counts_not_in_the_chart_but_the_signed_error(
    system, watched, history
) -> None:
    """A chart of |error| would fold a drift through zero onto itself."""
    history([-8.0, 8.0], watched)
    assert control(system, watched).series.errors_um == pytest.approx([-8.0, 8.0])
    shares = ArtefactCheck.objects.values_list(F("worst_share"), flat=True)
    assert set(shares) == {0.2}
