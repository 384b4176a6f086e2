"""What happens around the jobs: checks, judgements, the room's readings."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from lab.checks.models import ArtefactCheck
from lab.checks.services import (
    record_check,
    void_check,
)
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.environment.models import SpotReading
from lab.environment.services import record_spot_reading
from lab.jobs.models import Job
from lab.lapses.services import judge_sessions_now
from lab.metrology.units import Quantity
from tests.chain.founding import BAR_VALUE, Lab


def check(
    lab: Lab, ended_at: datetime, *, off_um: float = 5.0, **changes: Any
) -> ArtefactCheck:
    """Check the system on the bar, recorded at once; beyond 54 µm off it fails."""
    length = f"{float(BAR_VALUE.value.value) + off_um / 1000:.4f}"
    with clock.set_to(ended_at):
        return record_check(
            **{
                "system": lab.system,
                "procedure": lab.procedure,
                "started_at": ended_at - timedelta(minutes=10),
                "ended_at": ended_at,
                "artefact_temperature": Quantity("20.0", "°C"),
                "thermometer": lab.thermometer,
                "readings": {
                    name: Quantity(length, "mm")
                    for name in lab.procedure.position_names
                },
                "form_key": f"{lab.system.pk}-{ended_at.isoformat()}"[:36],
                "acting_user": lab.people.technician,
            }
            | changes
        )


def void(lab: Lab, made: ArtefactCheck) -> None:
    void_check(
        check=made,
        cause="recording error",
        reason="The readings of another day were typed.",
        acting_user=lab.people.quality,
    )


def judge(job: Job) -> None:
    """Judge a job's sessions as a worker would."""
    judge_sessions_now(sessions=list(job.sessions.all()), acting_user=PROGRAM)


def read_room(lab: Lab, when: datetime, **changes: Any) -> SpotReading:
    with clock.set_to(when):
        return record_spot_reading(
            **{
                "room": lab.room,
                "sensor": lab.logger,
                "at": when,
                "temperature": Quantity("20.1", "°C"),
                "humidity": Quantity("46", "%"),
                "acting_user": lab.people.technician,
            }
            | changes
        )
