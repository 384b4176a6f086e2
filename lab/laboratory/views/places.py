"""The lab's identity, sites and rooms, and how its numbers are written."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.laboratory import numbers, services
from lab.laboratory.access import get_room_for, get_site_for
from lab.laboratory.forms import IdentityForm, NumberFormatForm, RoomForm, SiteForm
from lab.laboratory.models import Series
from lab.laboratory.selectors import sites_with_rooms, the_laboratory

OVERVIEW = "laboratory:overview"


@require_GET
def overview(request: Request) -> HttpResponse:
    context = {
        "laboratory": the_laboratory(),
        "sites": sites_with_rooms(),
        "numbers": numbers.examples(),
        "may_change": request.user.may("laboratory.change"),
    }
    return render(request, "laboratory/overview.html", context)


@require_http_methods(FORM_METHODS)
def identity(request: Request) -> HttpResponse:
    there = the_laboratory()
    begin = {n: getattr(there, n) for n in IdentityForm.base_fields} if there else None
    form = IdentityForm(posted(request), initial=begin)
    write = services.change_laboratory if there else services.set_up_laboratory
    if request.method == "POST" and accepted(
        form, lambda: write(identity=form.identity(), acting_user=request.user)
    ):
        return done(request, "The laboratory's identity is recorded.", OVERVIEW)
    return form_page(
        request,
        form,
        title="The laboratory's identity",
        back=reverse(OVERVIEW),
        lead="Printed from now on. Documents that were issued keep what they printed.",
    )


@require_http_methods(FORM_METHODS)
def add_site(request: Request) -> HttpResponse:
    form = SiteForm(posted(request))
    if request.method == "POST" and accepted(
        form, lambda: services.add_site(**form.cleaned_data, acting_user=request.user)
    ):
        return done(request, "The site is added.", OVERVIEW)
    return form_page(request, form, title="A new site", back=reverse(OVERVIEW))


@require_http_methods(FORM_METHODS)
def change_site(request: Request, pk: int) -> HttpResponse:
    site = get_site_for(request.user, pk)
    form = SiteForm(posted(request), site=site)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_site(
            site=site, **form.cleaned_data, acting_user=request.user
        ),
    ):
        return done(request, f"{form.cleaned_data['name']} is changed.", OVERVIEW)
    return form_page(request, form, title=f"Change {site}", back=reverse(OVERVIEW))


@require_http_methods(FORM_METHODS)
def add_room(request: Request, pk: int) -> HttpResponse:
    site = get_site_for(request.user, pk)
    form = RoomForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.add_room(
            site=site,
            limits=form.limits,
            acting_user=request.user,
            **form.cleaned_data,
        ),
    ):
        return done(request, "The room is added.", OVERVIEW)
    title = f"A new room in {site}"
    return form_page(request, form, title=title, back=reverse(OVERVIEW))


@require_http_methods(FORM_METHODS)
def change_room(request: Request, pk: int) -> HttpResponse:
    room = get_room_for(request.user, pk)
    form = RoomForm(posted(request), room=room)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_room(
            room=room,
            limits=form.limits,
            acting_user=request.user,
            **form.cleaned_data,
        ),
    ):
        return done(request, f"{form.cleaned_data['name']} is changed.", OVERVIEW)
    return form_page(request, form, title=f"Change {room}", back=reverse(OVERVIEW))


@require_http_methods(FORM_METHODS)
def change_numbers(request: Request, series: str) -> HttpResponse:
    if series not in Series.values:
        raise Http404("There is no such series of numbers.")
    begin = {"pattern": numbers.pattern_of(series)}
    form = NumberFormatForm(posted(request), initial=begin)
    if request.method == "POST" and accepted(
        form,
        lambda: services.change_number_format(
            series=series, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "New numbers are written so from now on.", OVERVIEW)
    title = f"Numbers: {Series(series).label.lower()}"
    return form_page(request, form, title=title, back=reverse(OVERVIEW))
