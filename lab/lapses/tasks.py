"""What the worker does about lapses: judge what an event or the time has touched."""

from __future__ import annotations

from datetime import timedelta

from lab.common.actors import PROGRAM
from lab.common.work.kinds import Kind
from lab.lapses import services
from lab.lapses.selectors import anything_due

KINDS = {
    "lapses.judge_session": Kind(
        lambda pk: services.judge_session_by_id(session_id=pk, acting_user=PROGRAM),
        limit_s=120,
    ),
    "lapses.judge_system": Kind(
        lambda pk: services.judge_system(system_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.judge_device": Kind(
        lambda pk: services.judge_device(device_id=pk, acting_user=PROGRAM),
        limit_s=600,
    ),
    "lapses.sweep": Kind(
        lambda: services.judge_due(acting_user=PROGRAM),
        limit_s=600,
        every=timedelta(minutes=1),
        due=anything_due,
    ),
}
