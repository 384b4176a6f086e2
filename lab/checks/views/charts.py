"""Control charts of a system's checks, and the warnings that they give."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.checks import services
from lab.checks.access import get_procedure_of, get_system_for, get_warning_for
from lab.checks.charting.plots import control_page
from lab.checks.forms import AcknowledgeForm
from lab.checks.report import system_report
from lab.checks.selectors import newest_revision, warnings_of
from lab.common.charts import period_asked_for
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted


@require_safe
def charts(request: Request, pk: int, code: str) -> HttpResponse:
    system = get_system_for(request.user, pk)
    procedure = get_procedure_of(request.user, system, code)
    period = period_asked_for(request.GET)
    revision = newest_revision(procedure)
    names = revision.position_names if revision else []
    position = next((name for name in names if name == request.GET.get("of")), "")
    context = {
        "system": system,
        "revision": revision,
        "period": period,
        "keep": [("of", position)] if position else [],
        "position": position,
        "positions": names,
        "chart": control_page(system, procedure, period, position),
        "warnings": warnings_of(system, period.start, period.end).filter(
            artefact_check__procedure__procedure=procedure
        ),
        "may_acknowledge": request.user.may("warnings.acknowledge"),
    }
    return render(request, "checks/charts.html", context)


@require_safe
def report(request: Request, pk: int) -> HttpResponse:
    """Hand out the record of a system over a period as a PDF, drawn now."""
    system = get_system_for(request.user, pk)
    period = period_asked_for(request.GET)
    name = f"{slugify(system.name)}-{period.first}-{period.last}.pdf"
    answer = HttpResponse(system_report(system, period), "application/pdf")
    answer["Content-Disposition"] = content_disposition_header(True, name)
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_http_methods(FORM_METHODS)
def acknowledge(request: Request, pk: int) -> HttpResponse:
    warning = get_warning_for(request.user, pk)
    check = warning.artefact_check
    form = AcknowledgeForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.acknowledge_warning(
            warning=warning, acting_user=request.user, **form.cleaned_data
        ),
    ):
        sentence = "The warning is acknowledged."
        return done(request, sentence, "checks:system", check.system_id)
    return form_page(
        request,
        form,
        title=f"Acknowledge a warning of {check.system}",
        back=reverse("checks:system", args=[check.system_id]),
        lead=warning.words,
        submit="Acknowledge",
    )
