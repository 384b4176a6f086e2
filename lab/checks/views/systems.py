"""How the systems stand, one system with its history, and what breaks it."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.checks import services
from lab.checks.access import get_system_for, systems_for
from lab.checks.forms import BreakForm, SystemChangeForm, SystemForm
from lab.checks.models import MeasuringSystem, Need
from lab.checks.selectors import (
    checks_in_trend,
    checks_of,
    needs_to_come,
    open_warnings,
    standing,
    standings,
)
from lab.checks.shown import Trend, trend
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.paging import keyset_page

SYSTEM = "checks:system"
CHECKS_A_PAGE = 25
BREAKS_SHOWN = 20


@require_safe
def listed(request: Request) -> HttpResponse:
    every = list(systems_for(request.user))
    systems = [system for system in every if system.in_use]
    by_system = standings(systems, clock.now())
    context = {
        "systems": [(system, by_system[system.pk]) for system in systems],
        "out_of_use": [system for system in every if not system.in_use],
        "may_record": request.user.may("checks.record"),
        "may_change": request.user.may("systems.change"),
    }
    return render(request, "checks/list.html", context)


@require_safe
def system(request: Request, pk: int) -> HttpResponse:
    found = get_system_for(request.user, pk)
    history = keyset_page(
        checks_of(found), request.GET.get("page"), by="ended_at", size=CHECKS_A_PAGE
    )
    context = {
        "system": found,
        "standings": standing(found, clock.now()),
        "to_come": needs_to_come(found, clock.now()),
        "warnings": open_warnings(found),
        "may_acknowledge": request.user.may("warnings.acknowledge"),
        "trends": _trends(found),
        "page": history,
        "breaks": found.breaks.select_related("recorded_by")[:BREAKS_SHOWN],
        "may_record": request.user.may("checks.record"),
        "may_change": request.user.may("systems.change"),
    }
    return render(request, "checks/system.html", context)


def _trends(system: MeasuringSystem) -> list[Trend]:
    breaks = list(system.breaks.all())
    needed = Need.objects.not_ended(clock.now()).filter(system=system)
    drawn = [
        trend(need.procedure, checks_in_trend(system, need.procedure), breaks)
        for need in needed.select_related("procedure").order_by("procedure__code")
    ]
    return [one for one in drawn if one is not None]


@require_http_methods(FORM_METHODS)
def add(request: Request) -> HttpResponse:
    form = SystemForm(posted(request))
    made: list[MeasuringSystem] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.add_system(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        return done(request, f"{made[0]} is set up.", SYSTEM, made[0].pk)
    back = reverse("checks:list")
    return form_page(request, form, title="Add a measuring system", back=back)


@require_http_methods(FORM_METHODS)
def change(request: Request, pk: int) -> HttpResponse:
    found = get_system_for(request.user, pk)
    now = {"name": found.name, "in_use": found.in_use}
    form = SystemChangeForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_system(
            system=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The system is changed.", SYSTEM, pk)
    back = reverse(SYSTEM, args=[pk])
    return form_page(request, form, title=f"Change {found}", back=back)


@require_http_methods(FORM_METHODS)
def record_break(request: Request, pk: int) -> HttpResponse:
    found = get_system_for(request.user, pk)
    form = BreakForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_break(
            system=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        sentence = "The break is recorded. Check the system before it measures again."
        return done(request, sentence, SYSTEM, pk)
    return form_page(
        request,
        form,
        title=f"What happened to {found}",
        back=reverse(SYSTEM, args=[pk]),
        lead="Anything after which it may measure differently. No check counts across "
        "it: measuring before it is closed only by a check made before it.",
        submit="Record the break",
        big=True,
    )
