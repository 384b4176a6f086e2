"""Bars in view of a session, recorded at the machine."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common import clock
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs import services
from lab.jobs.access import get_session_for
from lab.jobs.forms.scale import ScaleForm

JOB = "board:job"


@require_http_methods(FORM_METHODS)
def record(request: Request, pk: int) -> HttpResponse:
    session = get_session_for(request.user, pk)
    number = session.job.number
    form = ScaleForm(posted(request), initial={"at": clock.now()})
    if request.method == "POST" and accepted(
        form,
        lambda: services.record_scale_test(
            session=session, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, session.scale_tests.latest("pk").words, JOB, number)
    return form_page(
        request,
        form,
        title=f"Bars in view of session {pk}",
        back=reverse(JOB, args=[number]),
        lead="The bars test the tracker's own scale; nothing is scaled away.",
        submit="Test the scale",
        big=True,
    )
