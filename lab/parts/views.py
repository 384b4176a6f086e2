"""Pages of parts and their revisions."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, numbered_page, posted
from lab.parts import services
from lab.parts.access import get_part_for, get_revision_for, parts_for
from lab.parts.forms import PartForm, RevisionForm
from lab.parts.models import Part, PartRevision
from lab.parts.selectors import newest_revision, revisions_in_force


@require_safe
def parts(request: Request) -> HttpResponse:
    said = request.GET.get("q", "").strip()
    rows = parts_for(request.user).select_related("customer")
    if said:
        rows = rows.filter(number__icontains=said) | rows.filter(name__icontains=said)
    page = numbered_page(rows, request.GET.get("page"))
    context = {"page": page, "q": said, "may_change": request.user.may("parts.change")}
    return render(request, "parts/list.html", context)


@require_safe
def part(request: Request, pk: int) -> HttpResponse:
    found = get_part_for(request.user, pk)
    context = {
        "part": found,
        "revisions": revisions_in_force(found),
        "may_change": request.user.may("parts.change"),
    }
    return render(request, "parts/detail.html", context)


@require_safe
def revision(request: Request, pk: int) -> HttpResponse:
    found = get_revision_for(request.user, pk)
    context = {
        "revision": found,
        "characteristics": found.characteristics.all(),
        "superseded_by": PartRevision.objects.filter(supersedes=found).first(),
        "may_change": request.user.may("parts.change"),
    }
    return render(request, "parts/revision.html", context)


@require_http_methods(FORM_METHODS)
def add(request: Request) -> HttpResponse:
    form = PartForm(posted(request), initial=request.GET.dict())
    made: list[Part] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.add_part(acting_user=request.user, **form.cleaned_data)
        ),
    ):
        sentence = f"{made[0].number} is added. Now record what its drawing asks."
        return done(request, sentence, "parts:add-revision", made[0].pk)
    return form_page(request, form, title="Add a part", back=reverse("parts:list"))


@require_http_methods(FORM_METHODS)
def add_revision(request: Request, pk: int) -> HttpResponse:
    found = get_part_for(request.user, pk)
    form = RevisionForm(posted(request), before=newest_revision(found), name="")
    return _take_revision(request, found, form, supersedes=None)


@require_http_methods(FORM_METHODS)
def correct_revision(request: Request, pk: int) -> HttpResponse:
    found = get_revision_for(request.user, pk)
    form = RevisionForm(posted(request), before=found, name=found.revision)
    return _take_revision(request, found.part, form, supersedes=found)


def _take_revision(
    request: Request,
    part: Part,
    form: RevisionForm,
    *,
    supersedes: PartRevision | None,
) -> HttpResponse:
    made: list[PartRevision] = []
    if request.method == "POST" and accepted(
        form,
        lambda: made.append(
            services.record_revision(
                part=part,
                supersedes=supersedes,
                acting_user=request.user,
                **form.cleaned_data,
            )
        ),
    ):
        return done(request, "The revision is recorded.", "parts:revision", made[0].pk)
    return _show_revision_form(request, part, form, supersedes)


def _show_revision_form(
    request: Request,
    part: Part,
    form: RevisionForm,
    supersedes: PartRevision | None,
) -> HttpResponse:
    context = {"part": part, "form": form, "supersedes": supersedes}
    status = 400 if form.is_bound and not form.wants_rows else 200
    return render(request, "parts/revision_form.html", context, status=status)
