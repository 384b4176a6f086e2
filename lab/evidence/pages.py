"""What the case page and the window page show."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils import timezone

from lab.accounts.models import User
from lab.checks.models import ArtefactCheck
from lab.evidence.guards import may_decide
from lab.evidence.models import Case, CaseWindow
from lab.evidence.outstanding import Dossier, dossier_of
from lab.lapses.facts import standing_passes

#: So many passes are shown beside the form that moves the window.
PASSES = 30


def case_page(user: User, case: Case) -> dict[str, Any]:
    dossier = dossier_of(case)
    # A page is shown in the laboratory's zone, which need not be asked for again.
    zone = ZoneInfo(timezone.get_current_timezone_name())
    return {
        "case": case,
        "dossier": dossier,
        "touched": dossier.touched,
        "undone": dossier.outstanding() if case.is_open else [],
        "certificates": certificates_with_decisions(dossier),
        "customers": _customers(dossier),
        "actions": list(enumerate(dossier.actions, 1)),
        "may_decide": case.is_open and may_decide(user, zone),
        "may_tell": case.is_open and user.may("cases.tell"),
        "may_add": case.is_open and user.may("cases.open"),
    }


def certificates_with_decisions(dossier: Dossier) -> list[tuple[Any, Any, str, str]]:
    """Return each certificate with its decision, and how it stands with its shape."""
    standing = dossier.standing_decisions
    return [
        (one, standing.get(one.pk), *_standing(one))
        for one in dossier.touched.certificates
    ]


def _standing(one: Any) -> tuple[str, str]:
    if hasattr(one, "withdrawal"):
        return "withdrawn", "state-bad"
    if hasattr(one, "replacement"):
        return "superseded", "state-off"
    return ("amended", "state-wait") if one.is_amended else ("current", "state-good")


def _customers(dossier: Dossier) -> list[dict[str, Any]]:
    return [
        {
            "customer": customer,
            "letters": [x for x in dossier.letters if x.customer_id == customer.pk],
            "tellings": [x for x in dossier.tellings if x.customer_id == customer.pk],
        }
        for customer in dossier.touched.customers
    ]


def passes_before(
    case: Case, window: CaseWindow | None
) -> QuerySet[ArtefactCheck] | list[ArtefactCheck]:
    """Return the passes up to the end of the window, newest first, with their trend."""
    if case.artefact_check is None or window is None:
        return []
    own = standing_passes(case.artefact_check.system_id).filter(
        procedure__procedure=case.artefact_check.procedure.procedure_id,
        ended_at__lte=window.until,
    )
    rows = own.select_related("procedure__procedure", "void", "late_confirmation")
    return rows.order_by("-ended_at")[:PASSES]
