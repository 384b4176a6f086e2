"""Pages that take a digital certificate: upload, look through, record."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from lab.accounts.http import Request
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.uploads import takes_upload
from lab.equipment import offered, services
from lab.equipment.access import get_certificate_file_for, get_device_for
from lab.equipment.forms import CertificateFileForm, ReadCalibrationForm
from lab.equipment.models import CertificateFile, Device
from lab.equipment.proposals import proposal_for, rules
from lab.equipment.views.calibrations import recorded_from

LEAD = (
    "The file is read apart from the program, and kept only if it is a certificate. "
    "You look through what it says before anything is recorded."
)


@takes_upload("xml")
@require_http_methods(FORM_METHODS)
def bring(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    form = CertificateFileForm(posted(request), request.FILES or None)
    kept: list[CertificateFile] = []
    if request.method == "POST" and accepted(
        form, lambda: kept.append(_kept(request, found, form))
    ):
        return done(request, "The file is read.", "equipment:read", tag, kept[0].pk)
    return form_page(
        request,
        form,
        title=f"Certificate file of {tag}",
        lead=LEAD,
        submit="Read it",
        back=reverse("equipment:calibrate", args=[tag]),
    )


def _kept(request: Request, device: Device, form: CertificateFileForm) -> Any:
    return services.keep_certificate(
        device=device,
        name=form.cleaned_data["upload"].name,
        upload=form.cleaned_data["upload"],
        acting_user=request.user,
    )


@require_http_methods(FORM_METHODS)
def read(request: Request, tag: str, pk: int) -> HttpResponse:
    found = get_device_for(request.user, tag)
    kept = get_certificate_file_for(request.user, found, pk)
    certificate = offered.read_again(kept)
    form = ReadCalibrationForm(
        posted(request),
        proposal=proposal_for(found, rules().get(found.kind)),
        initial=offered.facts_read(found, certificate),
        **offered.rows_read(found, certificate),
    )
    return recorded_from(
        request,
        form,
        found,
        document=kept.file,
        read=certificate,
        left_out=offered.left_out(found, certificate),
    )
