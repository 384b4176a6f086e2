"""Pages of files of readings: sent, looked at, confirmed, watched, reported."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)
from django_htmx.http import HttpResponseClientRefresh

from lab.accounts.http import Request
from lab.common.files.csvout import csv_bytes
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.paging import keyset_page
from lab.common.uploads import takes_upload
from lab.environment import services
from lab.environment.access import get_import_for, imports_for
from lab.environment.forms.imports import LayoutForm, UploadForm
from lab.environment.looking import look_at
from lab.environment.models import ReadingImport

LIST, ONE = "environment:imports", "environment:import"


@require_safe
def imports(request: Request) -> HttpResponse:
    rows = imports_for(request.user)
    context = {
        "page": keyset_page(rows, request.GET.get("page"), by="uploaded_at"),
        "may_record": request.user.may("environment.record"),
        "may_connect": request.user.may("loggers.connect"),
    }
    return render(request, "environment/imports.html", context)


@takes_upload("readings")
@require_http_methods(FORM_METHODS)
def upload(request: Request) -> HttpResponse:
    form = UploadForm(posted(request), request.FILES or None)
    made: list[ReadingImport] = []
    if request.method == "POST" and accepted(
        form, lambda: made.append(form.begin(request.user))
    ):
        return redirect(ONE, made[0].pk)
    return form_page(
        request,
        form,
        title="Import readings",
        lead="The file is shown to you first: nothing is stored before you confirm.",
        back=reverse(LIST),
        submit="Look at the file",
    )


@require_safe
def one(request: Request, pk: int) -> HttpResponse:
    found = get_import_for(request.user, pk)
    if request.htmx and not found.is_under_way:
        return HttpResponseClientRefresh()
    page = "environment/import.html"
    context = look_at(found, request.GET) | {
        "may_record": request.user.may("environment.record")
    }
    return render(request, f"{page}#progress" if request.htmx else page, context)


@require_POST
def confirm(request: Request, pk: int) -> HttpResponse:
    found = get_import_for(request.user, pk)
    context = look_at(found, request.GET, request.POST) | {"may_record": True}
    form: LayoutForm | None = context.get("form")
    if form is not None and accepted(
        form,
        lambda: services.confirm_import(
            reading_import=found, layout=form.layout(), acting_user=request.user
        ),
    ):
        return redirect(ONE, pk)
    return render(request, "environment/import.html", context, status=400)


@require_POST
def cancel(request: Request, pk: int) -> HttpResponse:
    found = get_import_for(request.user, pk)
    services.cancel_import(reading_import=found, acting_user=request.user)
    return done(request, "Nothing of the file is kept among the readings.", ONE, pk)


@require_safe
def report(request: Request, pk: int) -> HttpResponse:
    found = get_import_for(request.user, pk)
    told = found.report
    rows = (
        [(f.row or None, f.column, f.words, f.text) for f in told.findings]
        if told
        else []
    )
    header = ("Row", "Column", "What is wrong", "As written")
    answer = HttpResponse(csv_bytes(header, rows), content_type="text/csv")
    answer["Content-Disposition"] = f'attachment; filename="import-{pk}-report.csv"'
    return answer
