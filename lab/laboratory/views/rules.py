"""Decision rules, each with its risk in plain words."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.laboratory import services
from lab.laboratory.access import get_rule_for
from lab.laboratory.forms import ReasonForm, RuleForm
from lab.laboratory.ruling import ASSUMPTION
from lab.laboratory.standing import rule_standing, rule_standings


@require_GET
def rules(request: Request) -> HttpResponse:
    context = {
        "standings": rule_standings(),
        "assumption": ASSUMPTION,
        "may_revise": request.user.may("decision_rules.revise"),
    }
    return render(request, "laboratory/rules.html", context)


@require_GET
def rule(request: Request, pk: int) -> HttpResponse:
    context = {
        "standing": rule_standing(get_rule_for(request.user, pk)),
        "assumption": ASSUMPTION,
        "may_revise": request.user.may("decision_rules.revise"),
    }
    return render(request, "laboratory/rule.html", context)


@require_http_methods(FORM_METHODS)
def offer_rule(request: Request) -> HttpResponse:
    form = RuleForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.offer_decision_rule(
            ruling=form.ruling, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The rule is offered from now on.", "laboratory:rules")
    return form_page(
        request, form, title="A new decision rule", back=reverse("laboratory:rules")
    )


@require_http_methods(FORM_METHODS)
def revise_rule(request: Request, pk: int) -> HttpResponse:
    found = get_rule_for(request.user, pk)
    last = found.revisions.order_by("number").last()
    form = RuleForm(posted(request), rule=found, last=last)
    if request.method == "POST" and accepted(
        form,
        lambda: services.revise_decision_rule(
            rule=found,
            ruling=form.ruling,
            acting_user=request.user,
            **form.cleaned_data,
        ),
    ):
        return done(request, "The rule is revised.", "laboratory:rule", pk)
    return form_page(
        request,
        form,
        title=f"Revise “{found}”",
        back=reverse("laboratory:rule", args=[pk]),
        lead="Jobs that agreed to the rule keep the revision that they agreed to.",
    )


@require_http_methods(FORM_METHODS)
def withdraw_rule(request: Request, pk: int) -> HttpResponse:
    found = get_rule_for(request.user, pk)
    form = ReasonForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.withdraw_decision_rule(
            rule=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"“{found}” is offered no longer.", "laboratory:rules")
    return form_page(
        request,
        form,
        title=f"Offer “{found}” no longer",
        back=reverse("laboratory:rule", args=[pk]),
        submit="Withdraw",
        danger=True,
    )
