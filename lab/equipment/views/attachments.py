"""Photos and documents of a device: added, shown, taken off."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from lab.accounts.http import Request
from lab.common.files.store import store_file
from lab.common.files.views import file_response
from lab.common.forms import accepted
from lab.common.pages import FORM_METHODS, done, form_page, posted
from lab.common.uploads import takes_upload
from lab.equipment import services
from lab.equipment.access import get_attachment_for, get_device_for
from lab.equipment.forms import DocumentForm, PhotoForm
from lab.equipment.models import Attachment

DETAIL = "equipment:detail"
PHOTO, DOCUMENT = Attachment.Kind.PHOTO, Attachment.Kind.DOCUMENT
PHOTO_LEAD = (
    "The picture is written anew: where and with what it was taken is left out."
)


@takes_upload("photo")
@require_http_methods(FORM_METHODS)
def add_photo(request: Request, tag: str) -> HttpResponse:
    form = PhotoForm(posted(request), request.FILES or None)
    if _attached(request, tag, form, PHOTO, "photo"):
        return done(request, "The photo is added.", DETAIL, tag)
    back = reverse(DETAIL, args=[tag])
    title = f"Photo of {tag}"
    return form_page(request, form, title=title, lead=PHOTO_LEAD, back=back)


@takes_upload("other")
@require_http_methods(FORM_METHODS)
def add_document(request: Request, tag: str) -> HttpResponse:
    form = DocumentForm(posted(request), request.FILES or None)
    if _attached(request, tag, form, DOCUMENT, "other"):
        return done(request, "The document is added.", DETAIL, tag)
    back = reverse(DETAIL, args=[tag])
    return form_page(request, form, title=f"Document of {tag}", back=back)


@require_safe
def attachment(request: Request, tag: str, pk: int) -> HttpResponseBase:
    found = get_attachment_for(request.user, get_device_for(request.user, tag), pk)
    return file_response(found.file, inline=found.kind == PHOTO)


@require_POST
def remove(request: Request, tag: str, pk: int) -> HttpResponse:
    found = get_attachment_for(request.user, get_device_for(request.user, tag), pk)
    services.remove_attachment(attachment=found, acting_user=request.user)
    return done(request, f"“{found.title}” is taken off.", DETAIL, tag)


def _attached(
    request: Request,
    tag: str,
    form: PhotoForm | DocumentForm,
    kind: Attachment.Kind,
    limits: str,
) -> bool:
    """Store what was sent, outside of any transaction, and attach it."""
    found = get_device_for(request.user, tag)
    return request.method == "POST" and accepted(
        form,
        lambda: services.attach_file(
            device=found,
            kind=kind,
            file=store_file(
                form.cleaned_data["upload"],
                name=form.cleaned_data["upload"].name,
                kind=limits,
            ),
            title=form.cleaned_data["title"],
            acting_user=request.user,
        ),
    )
