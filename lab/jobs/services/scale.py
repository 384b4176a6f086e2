"""The tracker's scale tested by bars in view; a finding holds the job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.equipment.models import ARTEFACTS, CalibratedValue, Device, DeviceKind
from lab.equipment.selectors import current_calibration
from lab.jobs.contact import U_CONTACT_K
from lab.jobs.models import MeasuringSession, ScaleTest, ScaleTestBar
from lab.jobs.services.holds import raise_hold
from lab.metrology.errors import MetrologyError
from lab.metrology.thermal import (
    Bar,
    Expansion,
    Scale,
    Temperature,
    scale_at_length,
    scale_from_bars,
)
from lab.metrology.units import Quantity

#: A certificate at another temperature is refused.
REFERENCE_DEGC = 20


@dataclass(frozen=True, slots=True)
class BarReading:
    """One bar as it was read in view: length, its standard uncertainty, temperature."""

    value: CalibratedValue
    reading: Quantity
    reading_u: Quantity
    temperature: Quantity


@service(may="jobs.measure")
def record_scale_test(
    *,
    session: MeasuringSession,
    at: datetime,
    thermometer: Device,
    readings: Sequence[BarReading],
    acting_user: User,
) -> ScaleTest:
    """Test the scale of a session's system by bars, and keep how it came out.

    A significant scale, or bars that contradict each other, hold the job.

    Raises
    ------
    NotAcceptable
        If there is no bar or one twice, one has no current calibration at 20 °C or no
        expansion coefficient, or a number can't be.
    """
    clock.require_not_future(at)
    if thermometer.kind != DeviceKind.CONTACT_THERMOMETER:
        raise NotAcceptable(
            f"{thermometer.tag} is no contact thermometer.", field="thermometer"
        )
    scale = _computed(readings, thermometer, at)
    made = ScaleTest.objects.create(
        session=session,
        at=at,
        thermometer=thermometer,
        scale_error=scale.scale_error,
        u_scale=scale.u_scale,
        is_significant=scale.is_significant,
        is_consistent=scale.is_consistent,
        longest_bar_mm=scale.longest_bar_mm,
        words=_words(scale, session),
        recorded_by=acting_user,
    )
    for number, one in enumerate(readings):
        ScaleTestBar.objects.create(
            test=made,
            calibrated_value=one.value,
            scale_error=float(scale.ratios[number]) - 1.0,
            weight=float(scale.weights[number]),
            **ScaleTestBar.reading.columns(one.reading),
            **ScaleTestBar.reading_u.columns(one.reading_u),
            **ScaleTestBar.temperature.columns(one.temperature),
        )
    audit.record(
        "session.scale_tested",
        session,
        actor=acting_user,
        after={"at": at, "outcome": made.words},
    )
    if not made.is_good:
        raise_hold(
            job=session.job,
            session=session,
            cause_key=f"scale:{made.pk}",
            title=f"{made.word}: {session.system}",
            reason=f"{made.words} Find out why before its results are used.",
            acting_user=acting_user,
        )
    return made


def _computed(
    readings: Sequence[BarReading], thermometer: Device, at: datetime
) -> Scale:
    if not readings:
        raise NotAcceptable("Say what was read of one bar at least.", field="readings")
    try:
        return scale_from_bars([_bar(one, thermometer, at) for one in readings])
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="readings") from None


def _bar(one: BarReading, thermometer: Device, at: datetime) -> Bar:
    value = one.value
    calibration, device = value.calibration, value.calibration.device
    if device.kind not in ARTEFACTS:
        raise NotAcceptable(f"{device.tag} is no bar.", field="readings")
    if current_calibration(device, at) != calibration:
        raise NotAcceptable(
            f"The calibration of {device.tag} was not current then.", field="readings"
        )
    if device.expansion is None or device.expansion_u is None:
        raise NotAcceptable(
            f"{device.tag} has no coefficient of thermal expansion on record.",
            field="readings",
        )
    if value.temperature.value != REFERENCE_DEGC:
        raise NotAcceptable(
            f"The length of {device.tag} is certified at {value.temperature}, not at "
            "20 °C.",
            field="readings",
        )
    u_mm = float(value.expanded_u.value) / float(value.coverage_factor_text)
    return Bar(
        name=f"{device.tag} {value.label}",
        length_mm=float(value.value.value),
        u_length_mm=u_mm,
        reading_mm=float(one.reading.value),
        u_reading_mm=float(one.reading_u.value),
        expansion=Expansion(
            float(device.expansion.value), float(device.expansion_u.value)
        ),
        temperature=Temperature(float(one.temperature.value), U_CONTACT_K),
        laboratory=calibration.provider,
        sensor=thermometer.tag,
    )


def _words(scale: Scale, session: MeasuringSession) -> str:
    """Return the outcome, with how far the job's lengths lie beyond the bars."""
    lengths = [
        abs(float(one.nominal.value))
        for one in session.job.part_revision.characteristics.all()
        if not one.is_angle and not one.non_negative
    ]
    if not lengths:
        return scale.words
    far = scale_at_length(scale, max(lengths))
    said = (
        f"On the job's longest length, {far.length_mm:.0f} mm, that is "
        f"{1000 * far.error_mm:+.1f} µm with a standard uncertainty of "
        f"{1000 * far.u_mm:.1f} µm"
    )
    if far.is_extrapolated:
        said += (
            f"; it is {far.times_longest_bar:.1f} times the longest bar, so this is an "
            "extrapolation"
        )
    return f"{scale.words} {said}."
