"""Check procedures and their revisions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_slug

from lab.accounts.models import User
from lab.checks.judging import expansion_of, limit_of
from lab.checks.locks import lock_systems
from lab.checks.models import CheckProcedure, MeasuringSystem, ProcedureRevision
from lab.checks.selectors import newest_revision
from lab.common import audit
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
    acting_user: User,
) -> CheckProcedure:
    """Start a check procedure that some systems need; its first revision comes next.

    Raises
    ------
    NotAcceptable
        If the code is taken or no code, the kind is none, or no system needs it.
    """
    tidy = _clean_code(code)
    if kind not in CheckKind:
        raise NotAcceptable(f"“{kind}” is no kind of check.", field="kind")
    needing = _needing(systems)
    procedure = CheckProcedure.objects.create(
        code=tidy, title=refuse_placeholder(title, "title"), kind=kind
    )
    procedure.systems.set(needing)
    after = {
        "code": tidy,
        "title": procedure.title,
        "kind": kind,
        "systems": _names(needing),
    }
    audit.record("procedure.added", procedure, actor=acting_user, after=after)
    return procedure


@service(may="procedures.revise")
def change_procedure(
    *,
    procedure: CheckProcedure,
    title: str,
    systems: Iterable[MeasuringSystem],
    acting_user: User,
) -> CheckProcedure:
    """Change what a procedure is called, or which systems need it from now on.

    Raises
    ------
    NotAcceptable
        If no system needs it, or the title is a placeholder.
    """
    needing = _needing(systems)
    lock_systems([*needing, *procedure.systems.all()])
    procedure = CheckProcedure.objects.select_for_update().get(pk=procedure.pk)
    had = list(procedure.systems.all())
    before = {"title": procedure.title, "systems": _names(had)}
    after = {"title": refuse_placeholder(title, "title"), "systems": _names(needing)}
    if before == after:
        audit.nothing_changed()
        return procedure
    procedure.title = str(after["title"])
    procedure.save(update_fields=["title"])
    procedure.systems.set(needing)
    audit.record(
        "procedure.changed", procedure, actor=acting_user, before=before, after=after
    )
    for system in sorted({*had} ^ {*needing}, key=lambda one: one.pk):
        enqueue("lapses.judge_system", system.pk)
    return procedure


@service(may="procedures.revise")
def revise_procedure(
    *,
    procedure: CheckProcedure,
    artefact: Device,
    calibrated_label: str,
    positions: Sequence[str],
    limit_constant: Quantity,
    limit_per_metre: Quantity | None = None,
    limit_cap: Quantity | None = None,
    acceptance: str = ProcedureRevision.Acceptance.SIMPLE,
    temperature_u: Quantity,
    valid_for: timedelta,
    closing_wanted: bool = True,
    closing_within: timedelta,
    acting_user: User,
) -> ProcedureRevision:
    """Say anew how a check is done. From now on only this revision can be measured by.

    Checks that were done stay judged by the revision that they followed.

    Raises
    ------
    NotAcceptable
        If the artefact doesn't fit the kind or has no such calibrated value, or a
        position, the limit, an uncertainty or a time makes no sense.
    """
    procedure = CheckProcedure.objects.select_for_update().get(pk=procedure.pk)
    if acceptance not in ProcedureRevision.Acceptance:
        raise NotAcceptable(f"“{acceptance}” is no rule.", field="acceptance")
    before = newest_revision(procedure)
    columns: dict[str, Any] = {
        "artefact": _fitting(procedure, artefact),
        "calibrated_label": _clean_label(artefact, calibrated_label),
        "positions": "\n".join(_clean_positions(positions)),
        "acceptance": acceptance,
        "closing_wanted": closing_wanted,
        **_limit_columns(limit_constant, limit_per_metre, limit_cap),
        **_temperature_column(temperature_u),
        **_times(valid_for, closing_within),
    }
    revision = ProcedureRevision.objects.create(
        procedure=procedure,
        number=before.number + 1 if before else 1,
        recorded_by=acting_user,
        **columns,
    )
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
