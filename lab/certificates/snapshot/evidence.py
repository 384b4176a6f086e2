"""What the results rest on: sessions and their checks, standards, the room's air."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from lab.certificates.snapshot.words import (
    BRACKETING,
    TRACEABILITY,
    day_text,
    days_text,
    moment_text,
    span_text,
)
from lab.environment.selectors import conditions
from lab.environment.summaries import RoomSummary
from lab.equipment.models import Calibration, Device
from lab.equipment.selectors import current_calibration
from lab.jobs.climate import loggers_of, summary_of
from lab.jobs.models import Job, JobItem, MeasuringSession
from lab.jobs.selectors import events_in_force, part_temperatures, segments
from lab.lapses.facts import chain_of, procedures_at
from lab.lapses.models import Finding
from lab.lapses.selectors import judgement_of

#: Readings of the room count so long before and after a session, as they do for its
#: chain (:mod:`lab.lapses.facts`).
AROUND: Final = timedelta(hours=1)


def label_sessions(sessions: Sequence[MeasuringSession]) -> dict[int, str]:
    """Return the short name of each session on the certificate."""
    return {one.pk: str(number) for number, one in enumerate(sessions, start=1)}


def zone_of(session: MeasuringSession) -> ZoneInfo:
    return session.room.site.zone


def days_of(session: MeasuringSession) -> set[date]:
    """Return the local days on which a session measured."""
    zone = zone_of(session)
    days: set[date] = set()
    for segment in segments(session):
        day = segment.start.astimezone(zone).date()
        last = (segment.end or segment.start).astimezone(zone).date()
        while day <= last:
            days.add(day)
            day += timedelta(days=1)
    return days


def session_block(session: MeasuringSession, label: str) -> dict[str, Any]:
    zone, judgement = zone_of(session), judgement_of(session)
    state = judgement.state if judgement else ""
    procedures = [
        f"{revision.procedure.code} {revision.procedure.title}, revision "
        f"{revision.number}"
        for revision in procedures_at(session)
    ]
    return {
        "label": label,
        "system": session.system.name,
        "tracker": str(session.system.tracker),
        "scanner": str(session.system.scanner),
        "room": session.room.name,
        "from": moment_text(session.first_at, zone),
        "until": moment_text(session.last_at, zone),
        "measured_on": days_text(days_of(session)),
        "measured_by": sorted({one.said_by.name for one in events_in_force(session)}),
        "checks": procedures,
        "state": state,
        "statement": BRACKETING.get(state, ""),
        "findings": [_finding(one) for one in _findings_of(session)],
    }


def _findings_of(session: MeasuringSession) -> Sequence[Finding]:
    rows = session.findings.select_related("hold", "hold__clearance")
    return list(rows.order_by("pk"))


def _finding(found: Finding) -> dict[str, str]:
    clearance = getattr(found.hold, "clearance", None)
    return {
        "name": found.name,
        "reason": found.reason,
        "assessment": clearance.reason if clearance else "",
    }


# --- Standards ------------------------------------------------------------------------


def traceability(
    sessions: Sequence[MeasuringSession], labels: Mapping[int, str]
) -> dict[str, Any]:
    """Return the standards and instruments of every session's chain (R24)."""
    used: dict[tuple[int, int], tuple[Device, Calibration | None, list[str]]] = {}
    for session in sessions:
        chain = chain_of(session, procedures_at(session))
        loggers = [one for one in loggers_of(session) if one not in chain]
        for device in [*chain, *loggers]:
            calibration = current_calibration(device, session.first_at)
            key = (device.pk, calibration.pk if calibration else 0)
            used.setdefault(key, (device, calibration, []))[2].append(
                labels[session.pk]
            )
    rows = sorted(used.values(), key=lambda row: (row[0].tag, row[2]))
    return {
        "statement": TRACEABILITY,
        "standards": [_standard(*row) for row in rows],
    }


def _standard(
    device: Device, calibration: Calibration | None, labels: list[str]
) -> dict[str, Any]:
    return {
        "tag": device.tag,
        "name": device.name,
        "kind": device.get_kind_display(),
        "serial": device.serial,
        "certificate_number": calibration.certificate_number if calibration else "",
        "provider": calibration.provider if calibration else "",
        "accreditation": calibration.accreditation if calibration else "",
        "calibrated_on": day_text(calibration.calibrated_on) if calibration else "",
        "due_on": day_text(calibration.due_on) if calibration else "",
        "sessions": labels,
    }


# --- Conditions -----------------------------------------------------------------------


def room_conditions(session: MeasuringSession, label: str) -> dict[str, str]:
    """Return the air around one session, as read in its room (R23)."""
    zone = zone_of(session)
    logged = summary_of(session)
    if logged is not None:
        return _by_loggers(session, label, logged)
    found = conditions(
        session.room, session.first_at - AROUND, session.last_at + AROUND
    )
    row = {"session": label, "room": session.room.name}
    if found is None:
        nothing = ("temperature", "humidity", "readings", "from", "until", "summary")
        return row | dict.fromkeys(nothing, "")
    return row | {
        "temperature": span_text(found.temperature_lowest, found.temperature_highest),
        "humidity": span_text(found.humidity_lowest, found.humidity_highest),
        "readings": str(found.count),
        "from": moment_text(found.first_at, zone),
        "until": moment_text(found.last_at, zone),
        "summary": "",
    }


def _by_loggers(
    session: MeasuringSession, label: str, found: RoomSummary
) -> dict[str, str]:
    """Return the air while it was measured, as the room's loggers read it."""
    zone = zone_of(session)
    return {
        "session": label,
        "room": session.room.name,
        "temperature": found.temperature_text,
        "humidity": found.humidity_text,
        "readings": str(found.count),
        "from": moment_text(found.first_at, zone),
        "until": moment_text(found.last_at, zone),
        "summary": found.words,
    }


def item_temperatures(
    job: Job,
    items: Sequence[JobItem],
    sessions: Sequence[MeasuringSession],
    labels: Mapping[int, str],
) -> list[dict[str, str]]:
    """Return how warm the items were while they were measured, by contact."""
    rows = part_temperatures(job).filter(item__in=items, session__in=sessions)
    zone = zone_of(sessions[0]) if sessions else job.room.site.zone
    return [
        {
            "serial": one.item.serial,
            "session": labels[one.session_id or 0],
            "temperature": str(one.temperature),
            "at": moment_text(one.at, zone),
            "thermometer": one.thermometer.tag,
        }
        for one in rows
    ]
