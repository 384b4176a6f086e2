"""Which systems, procedures and checks a person sees: the lab all, a client none."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.checks.models import (
    ArtefactCheck,
    ChartWarning,
    CheckProcedure,
    MeasuringSystem,
    Need,
    ProcedureRevision,
)
from lab.common import clock


def systems_for(user: User) -> QuerySet[MeasuringSystem]:
    rows = MeasuringSystem.objects.select_related("tracker", "scanner")
    return rows if user.may("checks.see") else rows.none()


def procedures_for(user: User) -> QuerySet[CheckProcedure]:
    rows = CheckProcedure.objects.all()
    return rows if user.may("checks.see") else rows.none()


def get_system_for(user: User, pk: int) -> MeasuringSystem:
    found = systems_for(user).filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such measuring system.")
    return found


def get_procedure_for(user: User, code: str) -> CheckProcedure:
    found = procedures_for(user).filter(code=code).first()
    if found is None:
        raise Http404("There is no such check procedure.")
    return found


def get_revision_for(
    user: User, system: MeasuringSystem, code: str
) -> ProcedureRevision:
    """Return the newest revision of a procedure that a system needs, or will."""
    needed = Need.objects.not_ended(clock.now()).filter(system=system)
    rows = ProcedureRevision.objects.filter(
        procedure__in=procedures_for(user).filter(code=code),
        procedure_id__in=needed.values("procedure"),
    )
    found = rows.select_related("procedure", "artefact").order_by("-number").first()
    if found is None:
        raise Http404("The system needs no such check.")
    return found


def get_warning_for(user: User, pk: int) -> ChartWarning:
    rows = ChartWarning.objects.filter(pk=pk)
    seen = rows.filter(artefact_check__system__in=systems_for(user))
    found = seen.select_related(
        "artefact_check__system", "artefact_check__procedure__procedure"
    ).first()
    if found is None:
        raise Http404("There is no such warning.")
    return found


def get_procedure_of(user: User, system: MeasuringSystem, code: str) -> CheckProcedure:
    """Return a procedure that a system needs or has been checked by."""
    found = get_procedure_for(user, code)
    if not found.needs.filter(system=system).exists():
        raise Http404("The system never needed such a check.")
    return found


def get_check_for(user: User, pk: int) -> ArtefactCheck:
    rows = ArtefactCheck.objects.filter(pk=pk, system__in=systems_for(user))
    found = rows.select_related(
        "system",
        "procedure__procedure",
        "procedure__artefact",
        "calibration",
        "thermometer_calibration",
        "thermometer",
        "source",
        "measured_by",
        "void__voided_by",
        "late_confirmation__confirmed_by",
    ).first()
    if found is None:
        raise Http404("There is no such check.")
    return found
