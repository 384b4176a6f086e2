"""Photos, maintenance and a log for the devices of the invented lab."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Final

from PIL import Image, ImageDraw

from lab.common import clock
from lab.common.files.store import store_file
from lab.demo.world import World
from lab.equipment.models import Device
from lab.equipment.services import (
    attach_file,
    log_event,
    plan_maintenance,
    set_status,
)

PAPER, INK, RED = "#f4f1e8", "#1b262d", "#8f2f20"
SIZE: Final = (960, 640)
#: Per device: what is done, every so many days, and on which day from now first.
PLANS: Final = (
    ("TR-1", "Clean the optics and the cooling filter", 90, 20),
    ("TR-2", "Clean the optics and the cooling filter", 90, 34),
    ("SC-1", "Clean the windows, look at the targets", 30, 12),
    ("RT-1", "Grease the bearing, test the emergency stop", 180, 50),
)


def plan_upkeep(world: World) -> None:
    """Plan maintenance, log it as it comes round, draw photos, restrict a logger."""
    first = world.first_day
    world.plan(first, 10, 0, partial(_set_out, world))
    for tag, _, days, first_in in PLANS:
        day = _workday_by(world, first + timedelta(days=first_in))
        while day < world.last_day:
            world.plan(day, 17, 20, partial(_maintain, world, tag))
            day = _workday_by(world, day + timedelta(days=days))
    half = world.workday(first, 180)
    world.plan(half, 17, 30, partial(_mend_table, world))
    world.plan(half, 17, 40, partial(_restrict_logger, world))


def _workday_by(world: World, day: date) -> date:
    """Return a day, or the last working day before it."""
    return world.workday(day + timedelta(days=1), -1)


def _set_out(world: World) -> None:
    hand, today = world.staff.technicians[1], world.first_day
    for tag, title, days, first_in in PLANS:
        plan_maintenance(
            device=_device(tag),
            title=title,
            every_days=days,
            first_due_on=today + timedelta(days=first_in),
            instructions="As the maker's instructions have it; power off first.",
            acting_user=hand,
        )
    for tag, draw in (("TR-1", _tracker), ("SB-2", _bar), ("SC-1", _scanner)):
        photo = store_file(_drawn(draw), name=f"{tag}.png", kind="photo")
        attach_file(
            device=_device(tag),
            kind="photo",
            file=photo,
            title=f"{tag} as it came",
            acting_user=hand,
        )


def _maintain(world: World, tag: str) -> None:
    device = _device(tag)
    log_event(
        device=device,
        kind="maintenance",
        at=clock.now(),
        note="Done as planned. Nothing was adjusted.",
        task=device.maintenance_tasks.get(),
        acting_user=world.staff.technicians[1],
    )


def _mend_table(world: World) -> None:
    log_event(
        device=_device("RT-1"),
        kind="repair",
        at=clock.now(),
        note="Drive belt torn, a new one fitted; turned under load without slipping.",
        acting_user=world.staff.technicians[1],
    )


def _restrict_logger(world: World) -> None:
    set_status(
        device=_device("LG-6"),
        status="restricted",
        reason="Its humidity sensor drifts.",
        restriction="For temperature only, until it is calibrated again",
        acting_user=world.staff.quality,
    )


def _device(tag: str) -> Device:
    return Device.objects.get(tag=tag)


def _drawn(draw: Callable[[ImageDraw.ImageDraw], None]) -> bytes:
    picture = Image.new("RGB", SIZE, PAPER)
    draw(ImageDraw.Draw(picture))
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def _tracker(pen: ImageDraw.ImageDraw) -> None:
    for foot in (260, 480, 700):
        pen.line((480, 330, foot, 610), fill=INK, width=10)
    pen.rectangle((180, 190, 780, 320), fill=PAPER, outline=INK, width=8)
    for middle in (260, 480, 700):
        pen.ellipse((middle - 42, 213, middle + 42, 297), outline=INK, width=6)
        pen.ellipse((middle - 16, 239, middle + 16, 271), fill=RED)


def _bar(pen: ImageDraw.ImageDraw) -> None:
    pen.rectangle((90, 300, 870, 350), fill=PAPER, outline=INK, width=8)
    for name, middle in (("A", 150), ("B", 810)):
        pen.ellipse((middle - 34, 291, middle + 34, 359), fill=INK)
        pen.ellipse((middle - 12, 313, middle + 12, 337), fill=PAPER)
        pen.text((middle - 12, 380), name, fill=INK, font_size=36)


def _scanner(pen: ImageDraw.ImageDraw) -> None:
    pen.polygon([(300, 180), (660, 180), (720, 330), (240, 330)], outline=INK, width=8)
    pen.rectangle((440, 330, 520, 560), outline=INK, width=8)
    for across in range(300, 680, 60):
        pen.ellipse((across - 12, 243, across + 12, 267), fill=RED)
