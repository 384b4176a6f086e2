"""Which devices a person sees: the lab all, a client none."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.equipment.models import (
    Attachment,
    Calibration,
    CertificateFile,
    Device,
    MaintenanceTask,
    StandIn,
)


def devices_for(user: User) -> QuerySet[Device]:
    return Device.objects.all() if user.may("equipment.see") else Device.objects.none()


def get_device_for(user: User, tag: str) -> Device:
    found = devices_for(user).filter(tag=tag).select_related("room__site").first()
    if found is None:
        raise Http404("There is no such device.")
    return found


def get_calibration_for(user: User, pk: int) -> Calibration:
    rows = Calibration.objects.filter(pk=pk, device__in=devices_for(user))
    found = rows.select_related(
        "device", "recorded_by", "document", "acceptance__decided_by"
    ).first()
    if found is None:
        raise Http404("There is no such calibration.")
    return found


def get_certificate_file_for(user: User, device: Device, pk: int) -> CertificateFile:
    rows = CertificateFile.objects.filter(pk=pk, device=device)
    found = rows.filter(device__in=devices_for(user)).select_related("file").first()
    if found is None:
        raise Http404("There is no such certificate of this device.")
    return found


def get_stand_in_for(user: User, device: Device, pk: int) -> StandIn:
    rows = StandIn.objects.filter(pk=pk, device=device, device__in=devices_for(user))
    found = rows.select_related("device", "stand_in").first()
    if found is None:
        raise Http404("There is no such stand-in.")
    return found


def get_task_for(user: User, device: Device, pk: int) -> MaintenanceTask:
    rows = MaintenanceTask.objects.filter(pk=pk, device=device)
    found = rows.filter(device__in=devices_for(user)).select_related("device").first()
    if found is None:
        raise Http404("There is no such maintenance.")
    return found


def get_attachment_for(user: User, device: Device, pk: int) -> Attachment:
    """Return a photo or document; what was taken off is the audit's, not the page's."""
    rows = Attachment.objects.filter(pk=pk, device=device, removed_at=None)
    found = rows.filter(device__in=devices_for(user))
    one = found.select_related("device", "file").first()
    if one is None:
        raise Http404("There is no such file of this device.")
    return one
