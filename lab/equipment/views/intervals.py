"""Pages of intervals: what the rules propose, each rule, and how values drift."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment import services
from lab.equipment.access import get_device_for
from lab.equipment.drift import drifts_of
from lab.equipment.driftcharts import DriftShown
from lab.equipment.forms import IntervalRuleForm
from lab.equipment.proposals import proposal_for, proposals, rules
from lab.equipment.requirements import requirement_of


@require_safe
def intervals(request: Request) -> HttpResponse:
    context = {
        "proposals": proposals(),
        "rules": sorted(rules().values(), key=lambda rule: rule.family),
        "may_set": request.user.may("calibrations.accept"),
    }
    return render(request, "equipment/intervals.html", context)


@require_http_methods(FORM_METHODS)
def set_rule(request: Request) -> HttpResponse:
    family = request.GET.get("family", "")
    present = rules().get(family)
    names = IntervalRuleForm.base_fields
    now = {name: getattr(present, name) for name in names} if present else {}
    form = IntervalRuleForm(posted(request), initial=now)
    if request.method == "POST" and accepted(
        form,
        lambda: services.set_interval_rule(
            acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The rule is set.", "equipment:intervals")
    return form_page(
        request,
        form,
        title="Rule for an interval",
        lead="It proposes; a person decides. Days that are recorded stay as they are.",
        back=reverse("equipment:intervals"),
    )


@require_safe
def drift(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    context = {
        "device": found,
        "requirement": requirement_of(found),
        "proposal": proposal_for(found, rules().get(found.kind)),
        "drifts": [DriftShown(one) for one in drifts_of(found)],
        "may_set": request.user.may("calibrations.accept"),
    }
    return render(request, "equipment/drift.html", context)
