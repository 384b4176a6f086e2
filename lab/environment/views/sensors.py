"""Pages of the sensors: where they stand, and the keys of those that send."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.environment import services
from lab.environment.access import get_token_for, sensors_for, tokens_for
from lab.environment.forms.sensors import PlaceForm, TokenForm, place_starts_with
from lab.environment.keys import BATCHES_A_MINUTE
from lab.environment.models import LoggerToken
from lab.environment.selectors.sensors import present_stays

SENSORS_PAGE, TOKENS = "environment:sensors", "environment:tokens"


@require_safe
def sensors(request: Request) -> HttpResponse:
    context = {
        "stays": present_stays(sensors_for(request.user)),
        "may_record": request.user.may("environment.record"),
        "may_connect": request.user.may("loggers.connect"),
    }
    return render(request, "environment/sensors.html", context)


@require_http_methods(FORM_METHODS)
def place(request: Request) -> HttpResponse:
    form = PlaceForm(posted(request), initial=place_starts_with())
    if request.method == "POST" and accepted(
        form,
        lambda: services.place_sensor(acting_user=request.user, **form.cleaned_data),
    ):
        return done(request, "Where the sensor stands is recorded.", SENSORS_PAGE)
    return form_page(
        request,
        form,
        title="Place a sensor",
        lead="Its readings count for the room in which it stood at the time.",
        back=reverse(SENSORS_PAGE),
        submit="Record the place",
    )


@never_cache
@require_http_methods(FORM_METHODS)
def tokens(request: Request) -> HttpResponse:
    form = TokenForm(posted(request))
    made: list[tuple[LoggerToken, str]] = []
    is_made = request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.issue_token(acting_user=request.user, **form.cleaned_data)
        ),
    )
    context = {
        "form": TokenForm() if is_made else form,
        "made": made[0] if made else None,
        "tokens": tokens_for(request.user),
        "batches_a_minute": BATCHES_A_MINUTE,
    }
    status = 400 if form.is_bound and not is_made else 200
    return render(request, "environment/tokens.html", context, status=status)


@require_POST
def revoke(request: Request, pk: int) -> HttpResponse:
    found = get_token_for(request.user, pk)
    services.revoke_token(token=found, acting_user=request.user)
    return done(request, f"The key “{found.name}” opens nothing any more.", TOKENS)
