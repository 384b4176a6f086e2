"""Check procedures and their revisions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_slug

from lab.accounts.models import User
from lab.checks.judging import expansion_of, limit_of, require_defence
from lab.checks.locks import lock_systems
from lab.checks.models import (
    CheckProcedure,
    MeasuringSystem,
    Need,
    ProcedureRevision,
    WatchedRule,
)
from lab.checks.models.procedures import MOST_REPEATS
from lab.checks.selectors import needs_of, newest_revision
from lab.common import audit, clock
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.common.work import enqueue
from lab.equipment.models import CalibratedValue, Device, DeviceKind
from lab.laboratory.models import CheckKind
from lab.metrology.errors import MetrologyError
from lab.metrology.units import Quantity

LONGEST_POSITION = 80
#: What a check of each kind can be done with.
ARTEFACTS_FOR = {
    CheckKind.LENGTH: (DeviceKind.SCALE_BAR, DeviceKind.BALL_BAR),
    CheckKind.SPHERE_SPACING: (DeviceKind.SCALE_BAR, DeviceKind.BALL_BAR),
    CheckKind.PROBING_SIZE: (DeviceKind.SPHERE, DeviceKind.BALL_BAR),
    CheckKind.PROBING_FORM: (DeviceKind.SPHERE, DeviceKind.BALL_BAR),
    CheckKind.FLAT_FORM: (DeviceKind.FLAT,),
}


@service(may="procedures.revise")
def add_procedure(
    *,
    code: str,
    title: str,
    kind: str,
    systems: Iterable[MeasuringSystem],
    since: datetime | None = None,
    acting_user: User,
) -> CheckProcedure:
    """Start a check procedure that some systems need; its first revision comes next.

    They need it from ``since`` on, or from now: what was measured before is not
    judged by it.

    Raises
    ------
    NotAcceptable
        If the code is taken or no code, the kind is none, no system needs it, or they
        would have needed it in the past.
    """
    tidy = _clean_code(code)
    if kind not in CheckKind:
        raise NotAcceptable(f"“{kind}” is no kind of check.", field="kind")
    needing = _needing(systems)
    procedure = CheckProcedure.objects.create(
        code=tidy, title=refuse_placeholder(title, "title"), kind=kind
    )
    begins = _beginning(since)
    for system in needing:
        Need.objects.create(system=system, procedure=procedure, since=begins)
    after = {
        "code": tidy,
        "title": procedure.title,
        "kind": kind,
        "systems": _names(needing),
        "since": begins,
    }
    audit.record("procedure.added", procedure, actor=acting_user, after=after)
    return procedure


@service(may="procedures.revise")
def change_procedure(
    *,
    procedure: CheckProcedure,
    title: str,
    systems: Iterable[MeasuringSystem],
    since: datetime | None = None,
    acting_user: User,
) -> CheckProcedure:
    """Change what a procedure is called, or which systems need it.

    A system that is new to it needs it from ``since`` on, or from now; one that is
    left out has needed it until now. Sessions before and after are judged so.

    Raises
    ------
    NotAcceptable
        If no system needs it, the title is a placeholder, or a new need would begin in
        the past.
    """
    needing = _needing(systems)
    begins = _beginning(since)
    lock_systems([*needing, *procedure.systems.all()])
    procedure = CheckProcedure.objects.select_for_update().get(pk=procedure.pk)
    now = clock.now()
    had = [need.system for need in needs_of(procedure, now)]
    before = {"title": procedure.title, "systems": _names(had)}
    after = {"title": refuse_placeholder(title, "title"), "systems": _names(needing)}
    if before == after:
        audit.nothing_changed()
        return procedure
    procedure.title = str(after["title"])
    procedure.save(update_fields=["title"])
    added, ended = {*needing} - {*had}, {*had} - {*needing}
    _end_needs(procedure, ended, now)
    for system in added:
        Need.objects.create(system=system, procedure=procedure, since=begins)
    audit.record(
        "procedure.changed",
        procedure,
        actor=acting_user,
        before=before,
        after=after | ({"since": begins} if added else {}),
    )
    for system in sorted(added | ended, key=lambda one: one.pk):
        enqueue("lapses.judge_system", system.pk)
    return procedure


def _end_needs(
    procedure: CheckProcedure, systems: Iterable[MeasuringSystem], now: datetime
) -> None:
    """End needs now; one that was still to begin was never there."""
    rows = Need.objects.filter(procedure=procedure, system__in=list(systems))
    rows.filter(since__gt=now).delete()
    rows.not_ended(now).update(until=now)


@service(may="procedures.revise")
def revise_procedure(
    *,
    procedure: CheckProcedure,
    artefact: Device,
    calibrated_label: str,
    positions: Sequence[str],
    repeats: int = 1,
    limit_constant: Quantity,
    limit_per_metre: Quantity | None = None,
    limit_cap: Quantity | None = None,
    acceptance: str = ProcedureRevision.Acceptance.SIMPLE,
    claimed_u: Quantity | None = None,
    temperature_u: Quantity,
    valid_for: timedelta,
    closing_wanted: bool = True,
    closing_within: timedelta,
    watched: Iterable[str] = (),
    acting_user: User,
) -> ProcedureRevision:
    """Say anew how a check is done. From now on only this revision can be measured by.

    Checks that were done stay judged by the revision that they followed. A limit that
    doesn't defend the standard uncertainty that budgets claim (``claimed_u``) is
    refused: a system could pass every check and still not be as good as they say.

    Raises
    ------
    NotAcceptable
        If the artefact doesn't fit the kind or has no such calibrated value, or a
        position, the limit, an uncertainty or a time makes no sense; or if the limit
        doesn't defend the claim, or rules of two sets are watched at once.
    """
    procedure = CheckProcedure.objects.select_for_update().get(pk=procedure.pk)
    if acceptance not in ProcedureRevision.Acceptance:
        raise NotAcceptable(f"“{acceptance}” is no rule.", field="acceptance")
    before = newest_revision(procedure)
    columns: dict[str, Any] = {
        "artefact": _fitting(procedure, artefact),
        "calibrated_label": _clean_label(artefact, calibrated_label),
        "positions": "\n".join(_clean_positions(positions)),
        "repeats": _clean_repeats(repeats),
        "acceptance": acceptance,
        "closing_wanted": closing_wanted,
        "watched": "\n".join(_clean_rules(watched)),
        **_limit_columns(limit_constant, limit_per_metre, limit_cap),
        "claimed_u": claimed_u,
        **_temperature_column(temperature_u),
        **_times(valid_for, closing_within),
    }
    revision = ProcedureRevision(
        procedure=procedure,
        number=before.number + 1 if before else 1,
        recorded_by=acting_user,
        **columns,
    )
    require_defence(revision)
    revision.save(force_insert=True)
    audit.record(
        "procedure.revised",
        procedure,
        actor=acting_user,
        before={"revision": before.number} if before else {},
        after=_described(columns) | {"revision": revision.number},
    )
    return revision


def _needing(systems: Iterable[MeasuringSystem]) -> list[MeasuringSystem]:
    needing = list(systems)
    if not needing:
        raise NotAcceptable("Say which systems need it.", field="systems")
    return needing


def _beginning(since: datetime | None) -> datetime:
    """Return from when on a need counts: never from the past, which is measured."""
    now = clock.now()
    if since is not None and since < now:
        raise NotAcceptable(
            "A procedure is needed from now or a later day on. What was measured "
            "before was measured without it and is not judged by it.",
            field="since",
        )
    return since or now


def _names(systems: Iterable[MeasuringSystem]) -> list[str]:
    return sorted(system.name for system in systems)


def _clean_code(code: str) -> str:
    tidy = code.strip()
    try:
        validate_slug(tidy)
    except ValidationError:
        raise NotAcceptable(
            "A code holds letters, digits, hyphens and underscores only.", field="code"
        ) from None
    if CheckProcedure.objects.filter(code__iexact=tidy).exists():
        raise NotAcceptable(f"The code {tidy} is taken.", field="code")
    return tidy


def _fitting(procedure: CheckProcedure, artefact: Device) -> Device:
    if artefact.kind not in ARTEFACTS_FOR[CheckKind(procedure.kind)]:
        raise NotAcceptable(
            f"{artefact.tag} is a {artefact.get_kind_display().lower()}; a check of "
            f"{procedure.get_kind_display().lower()} can't be done with that.",
            field="artefact",
        )
    expansion_of(artefact)
    return artefact


def _clean_label(artefact: Device, label: str) -> str:
    tidy = refuse_placeholder(label, "calibrated_label")
    values = CalibratedValue.objects.filter(
        calibration__device=artefact, calibration__superseded_by=None
    )
    known = sorted(set(values.values_list("label", flat=True)))
    if tidy not in known:
        raise NotAcceptable(
            f"No certificate of {artefact.tag} states “{tidy}”. "
            f"Known are: {', '.join(known) or 'none yet'}.",
            field="calibrated_label",
        )
    return tidy


def _clean_positions(positions: Sequence[str]) -> list[str]:
    lines = [line for text in positions for line in text.splitlines()]
    names = [refuse_placeholder(line, "positions") for line in lines if line.strip()]
    if not names:
        raise NotAcceptable("Prescribe at least one position.", field="positions")
    if len({name.casefold() for name in names}) < len(names):
        raise NotAcceptable(
            "Two positions have one name; name repeats apart.", field="positions"
        )
    if max(map(len, names)) > LONGEST_POSITION:
        raise NotAcceptable(
            f"The name of a position has {LONGEST_POSITION} letters at most.",
            field="positions",
        )
    return names


def _clean_repeats(repeats: int) -> int:
    if not 1 <= repeats <= MOST_REPEATS:
        raise NotAcceptable(
            f"Each position is measured once to {MOST_REPEATS} times.", field="repeats"
        )
    return repeats


def _clean_rules(watched: Iterable[str]) -> list[str]:
    chosen = set(watched)
    if unknown := chosen - set(WatchedRule.values):
        raise NotAcceptable(
            f"There is no rule {', '.join(sorted(unknown))}.", field="watched"
        )
    if len({one.rpartition(" ")[0] for one in chosen if one[-1].isdigit()}) > 1:
        raise NotAcceptable(
            "Rules of Western Electric and of Nelson are two sets; watch one of them.",
            field="watched",
        )
    return [rule for rule in WatchedRule.values if rule in chosen]


def _limit_columns(
    constant: Quantity, per_metre: Quantity | None, cap: Quantity | None
) -> dict[str, Any]:
    try:
        limit_of(constant, per_metre, cap)
    except MetrologyError as refusal:
        raise NotAcceptable(str(refusal), field="limit_constant") from None
    return {
        "limit_constant": constant,
        "limit_per_metre": per_metre,
        "limit_cap": cap,
    }


def _temperature_column(temperature_u: Quantity) -> dict[str, Any]:
    if temperature_u.value < 0:
        raise NotAcceptable(
            "An uncertainty can't be below zero.", field="temperature_u"
        )
    return {"temperature_u": temperature_u}


def _times(valid_for: timedelta, closing_within: timedelta) -> dict[str, Any]:
    if valid_for <= timedelta(0):
        raise NotAcceptable(
            "A pass that is never valid opens nothing; give a time above zero.",
            field="valid_for",
        )
    if closing_within < timedelta(0):
        raise NotAcceptable("A time can't be below zero.", field="closing_within")
    return {"valid_for": valid_for, "closing_within": closing_within}


def _described(columns: dict[str, Any]) -> dict[str, Any]:
    """Return columns in words, as the audit keeps them."""
    plain = (str, bool, type(None))
    return {
        name: value if isinstance(value, plain) else str(value)
        for name, value in columns.items()
    }
