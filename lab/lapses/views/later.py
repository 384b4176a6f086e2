"""What was found out later is recorded; many holds of one cause are cleared at once."""

from __future__ import annotations

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.equipment.access import get_device_for
from lab.jobs.services import clear_holds
from lab.lapses.access import get_finding_for, open_holds_of_cause
from lab.lapses.forms import ClearCauseForm, LaterFindingForm
from lab.lapses.selectors import later_findings_of
from lab.lapses.services import record_later_finding


@require_http_methods(FORM_METHODS)
def find(request: Request, tag: str) -> HttpResponse:
    device = get_device_for(request.user, tag)
    form = LaterFindingForm(posted(request))
    if request.method == "POST" and accepted(
        form,
        lambda: record_later_finding(
            device=device, acting_user=request.user, **form.cleaned_data
        ),
    ):
        said = "The finding is recorded. What was measured with it then is judged anew."
        return done(request, said, "equipment:detail", tag)
    return form_page(
        request,
        form,
        title=f"Something was found out about {tag}",
        back=reverse("equipment:detail", args=[tag]),
        template="lapses/find.html",
        known=later_findings_of(device),
    )


@require_http_methods(FORM_METHODS)
def clear(request: Request, pk: int) -> HttpResponse:
    finding = get_finding_for(request.user, pk)
    holds = open_holds_of_cause(request.user, finding)
    form = ClearCauseForm(posted(request), holds=holds)
    number = finding.session.job.number
    if request.method == "POST" and accepted(
        form,
        lambda: clear_holds(acting_user=request.user, **form.cleaned_data),
    ):
        count = len(form.cleaned_data["holds"])
        return done(request, f"{count} holds are cleared.", "board:job", number)
    return form_page(
        request,
        form,
        title="Clear the holds of one cause",
        back=reverse("board:job", args=[number]),
        lead=finding.reason,
        submit="Clear the chosen holds",
    )
