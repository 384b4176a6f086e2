"""Every write about photos and documents of a device."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.files.models import StoredFile
from lab.common.files.views import is_shown_inline
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.equipment.models import Attachment, Device


@service(may="equipment.change")
def attach_file(
    *, device: Device, kind: str, file: StoredFile, title: str, acting_user: User
) -> Attachment:
    """Add a stored file to a device's record.

    The file is stored before, outside of this transaction: a photo is encoded anew in
    the sandbox, which takes its time.

    Raises
    ------
    NotAcceptable
        If the title is missing, the kind is none, what is to be a photo was not
        written by our own encoder, or the device has the file already.
    """
    if kind not in Attachment.Kind:
        raise NotAcceptable(f"“{kind}” is no kind of file.", field="kind")
    if kind == Attachment.Kind.PHOTO and not is_shown_inline(file):
        raise NotAcceptable("This is no photo that can be shown.", field="upload")
    tidy = refuse_placeholder(title, "title")
    try:
        with transaction.atomic():
            made = Attachment.objects.create(
                device=device, kind=kind, file=file, title=tidy, added_by=acting_user
            )
    except IntegrityError:
        raise NotAcceptable(
            f"{device.tag} has this file already.", field="upload"
        ) from None
    audit.record(
        "device.file_attached",
        device,
        actor=acting_user,
        after={"kind": kind, "title": tidy, "sha256": file.sha256},
    )
    return made


@service(may="equipment.change")
def remove_attachment(*, attachment: Attachment, acting_user: User) -> None:
    """Take a file off a device's record; the audit still tells that it was there.

    Raises
    ------
    WrongState
        If it is off already.
    """
    there = Attachment.objects.filter(pk=attachment.pk, removed_at=None)
    if there.update(removed_at=clock.now()) != 1:
        raise WrongState(f"“{attachment.title}” is off the record already.")
    audit.record(
        "device.file_removed",
        attachment.device,
        actor=acting_user,
        before={"title": attachment.title, "sha256": attachment.file.sha256},
    )
