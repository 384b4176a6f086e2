"""The page on which the conditions of a session are assessed in µm."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.jobs.access import get_session_for
from lab.jobs.climate import summary_of
from lab.lapses import services
from lab.lapses.assessing import assessment_of, open_findings
from lab.lapses.forms import AssessmentForm

JOB = "board:job"


@require_http_methods(FORM_METHODS)
def assess(request: Request, pk: int) -> HttpResponse:
    session = get_session_for(request.user, pk)
    number, form = session.job.number, AssessmentForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: services.assess_conditions(
            session=session, acting_user=request.user, **form.cleaned_data
        ),
    ):
        return done(request, "The assessment is kept.", JOB, number)
    return form_page(
        request,
        form,
        title=f"Conditions of session {pk}",
        back=reverse(JOB, args=[number]),
        template="lapses/assess.html",
        session=session,
        bound=assessment_of(session),
        found=open_findings(session),
        summary=summary_of(session),
    )
