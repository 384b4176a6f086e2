"""What is logged of a device becomes a break of each system that has it."""

from __future__ import annotations

from typing import Final

from django.db.models import Q

from lab.checks.locks import lock_systems
from lab.checks.models import Break, MeasuringSystem
from lab.common import audit
from lab.common.actors import Actor
from lab.common.services import service
from lab.common.work import enqueue
from lab.equipment.models import DeviceEvent

#: What each kind of event is to a system. Maintenance comes here only where whoever
#: did it says that the device may measure differently: something was adjusted then.
BREAKS: Final = {
    DeviceEvent.Kind.MAINTENANCE: Break.Kind.ADJUSTMENT,
    DeviceEvent.Kind.ADJUSTMENT: Break.Kind.ADJUSTMENT,
    DeviceEvent.Kind.MODIFICATION: Break.Kind.ADJUSTMENT,
    DeviceEvent.Kind.REPAIR: Break.Kind.REPAIR,
    DeviceEvent.Kind.MALFUNCTION: Break.Kind.REPAIR,
    DeviceEvent.Kind.FIRMWARE: Break.Kind.FIRMWARE,
    DeviceEvent.Kind.DAMAGE: Break.Kind.KNOCK,
    DeviceEvent.Kind.MOVE: Break.Kind.MOVE,
    DeviceEvent.Kind.TRANSPORT: Break.Kind.TRANSPORT,
}


@service
def break_systems(*, event_id: int, acting_user: Actor) -> list[Break]:
    """Record a break on each system whose tracker or scanner an event happened to.

    Run again, it changes nothing. Systems out of use are broken too: one that comes
    back must not lean on checks of before.
    """
    event = DeviceEvent.objects.select_related("device", "recorded_by").get(pk=event_id)
    with_it = Q(tracker=event.device) | Q(scanner=event.device)
    systems = lock_systems(MeasuringSystem.objects.filter(with_it))
    said = {
        "kind": BREAKS[DeviceEvent.Kind(event.kind)],
        "at": event.at,
        "note": f"{event.device.tag}: {event.note}",
    }
    made = [
        Break.objects.create(system=one, recorded_by=event.recorded_by, **said)
        for one in systems
        if not one.breaks.filter(**said).exists()
    ]
    for one in made:
        audit.record(
            "system.break_recorded",
            one.system,
            actor=acting_user,
            reason=one.note,
            after={"kind": one.kind, "at": one.at, "event": event.pk},
        )
        enqueue("lapses.judge_system", one.system_id)
    if not made:
        audit.nothing_changed()
    return made
