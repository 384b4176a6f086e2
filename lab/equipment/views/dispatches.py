"""Pages of devices that are sent away, of stand-ins and of calibration providers."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
)

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment import services
from lab.equipment.access import get_device_for, get_stand_in_for
from lab.equipment.forms import DispatchForm, ProviderForm, ReturnForm, StandInForm
from lab.equipment.models import Device, Provider
from lab.equipment.offered import newest_of
from lab.laboratory.selectors import home_zone

DETAIL = "equipment:detail"


@require_http_methods(FORM_METHODS)
def send(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = DispatchForm(posted(request), initial=_usual_dispatch(found))
    if request.method == "POST" and accepted(
        form,
        lambda: services.send_out(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"{tag} is away, and out of use till then.", DETAIL, tag)
    return form_page(
        request,
        form,
        title=f"Send {tag} away",
        lead="Until its return is recorded, nobody can measure with it.",
        back=reverse(DETAIL, args=[tag]),
    )


def _usual_dispatch(device: Device) -> dict[str, Any]:
    """Return the provider of the last calibration and when it is back, as a rule."""
    today = clock.today(home_zone())
    newest = newest_of(device)
    name = newest.provider if newest else ""
    provider = Provider.objects.filter(name=name).first()
    usual: dict[str, Any] = {"sent_on": today, "purpose": "Calibration"}
    if provider is not None:
        back = today + timedelta(days=provider.lead_days)
        usual |= {"provider": provider, "expected_back": back}
    return usual


@require_http_methods(FORM_METHODS)
def receive(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = ReturnForm(
        posted(request), initial={"returned_on": clock.today(home_zone())}
    )
    if request.method == "POST" and accepted(
        form,
        lambda: services.bring_back(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, f"{tag} is back.", DETAIL, tag)
    return form_page(
        request,
        form,
        title=f"{tag} is back",
        lead="Record its calibration next; it counts when a person has accepted it.",
        back=reverse(DETAIL, args=[tag]),
    )


@require_http_methods(FORM_METHODS)
def add_stand_in(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = StandInForm(posted(request), device=found)
    if request.method == "POST" and accepted(
        form,
        lambda: services.name_stand_in(
            device=found, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The stand-in is named.", DETAIL, tag)
    return form_page(
        request,
        form,
        title=f"What can stand in for {tag}",
        lead="Another device of its kind that the same work can be done with.",
        back=reverse(DETAIL, args=[tag]),
    )


@require_POST
def drop_stand_in(request: Request, tag: str, pk: int) -> HttpResponse:
    found = get_device_for(request.user, tag)
    services.drop_stand_in(
        stand_in=get_stand_in_for(request.user, found, pk), acting_user=request.user
    )
    return done(request, "It stands in no longer.", DETAIL, tag)


@require_http_methods(FORM_METHODS)
def providers(request: Request) -> HttpResponse:
    form = ProviderForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.keep_provider(acting_user=request.user, **form.cleaned_data),
    ):
        return done(request, "The provider is kept.", "equipment:providers")
    context = {"form": form, "providers": Provider.objects.all()}
    status = 400 if form.is_bound else 200
    return render(request, "equipment/providers.html", context, status=status)
