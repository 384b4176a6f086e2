"""The page that joins what the apps above the register know of a device."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from lab.accounts.http import Request
from lab.accounts.models import User
from lab.checks import panels as check_panels
from lab.common.panels import Panel
from lab.equipment.access import get_device_for
from lab.equipment.models import Device

#: The page from top to bottom.
DEVICE_PANELS: Final[tuple[Callable[[User, Device], Panel | None], ...]] = (
    check_panels.systems_with,
    check_panels.breaks_of,
)


@require_safe
def device(request: Request, tag: str) -> HttpResponse:
    found = get_device_for(request.user, tag)
    panels = [p for show in DEVICE_PANELS if (p := show(request.user, found))]
    context = {"device": found, "panels": panels}
    return render(request, "board/device.html", context)
