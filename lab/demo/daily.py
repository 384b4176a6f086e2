"""The lab's daily round: the air of the rooms, the artefact checks, the due dates."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import cos, pi

from lab.checks.models import ArtefactCheck
from lab.checks.services import record_check
from lab.common import clock
from lab.demo.register import A_TO_B, recalibrate
from lab.demo.world import World
from lab.environment.services import record_spot_reading
from lab.equipment.models import Device, DeviceKind
from lab.equipment.selectors import current_calibration, reference_value
from lab.metrology.units import Quantity

#: A sunny week in July, in which the rooflight warmed the Long Room.
SUNNY_DAYS = range(13, 18)


def temperature_of(world: World, room: int, day: date, hour: int) -> float:
    """Return how warm a room is: the seasons, the afternoon, the rooflight."""
    season = -cos(2 * pi * (day.timetuple().tm_yday - 20) / 365)
    if room == 1:  # the Net Loft, cool and steady
        return 20.0 + 0.3 * season + world.dice.uniform(-0.1, 0.1)
    afternoon = 0.5 if hour >= 12 else 0.0
    sun = 3.4 if day.month == 7 and day.day in SUNNY_DAYS and hour >= 15 else 0.0
    return 20.4 + 0.7 * season + afternoon + sun + world.dice.uniform(-0.2, 0.2)


def read_rooms(world: World, day: date, hour: int) -> None:
    rooms = (world.house.long_room, world.house.net_loft)
    for number, (room, tag) in enumerate(zip(rooms, ("LG-1", "LG-4"), strict=True)):
        if room.spot_readings.filter(at=clock.now()).exists():
            continue  # two jobs of one day share its readings
        record_spot_reading(
            room=room,
            sensor=world.register.loggers[tag],
            at=clock.now(),
            temperature=Quantity(
                f"{temperature_of(world, number, day, hour):.1f}", "°C"
            ),
            humidity=Quantity(f"{world.dice.uniform(43, 57):.0f}", "%"),
            acting_user=world.staff.technicians[number],
        )


@dataclass(slots=True)
class CheckRound:
    """One artefact check of a system as it was done and entered at once."""

    world: World
    system: int
    day: date
    extra_um: float = 0.0
    made: ArtefactCheck | None = None

    def __call__(self) -> None:
        world, number = self.world, self.system
        procedure = world.register.procedures[number]
        ended = clock.now()
        started = ended - timedelta(minutes=12)
        calibration = current_calibration(procedure.artefact, started)
        if calibration is None:
            raise RuntimeError(f"{procedure.artefact} has no current calibration.")
        reference = reference_value(calibration, A_TO_B)
        if reference is None:
            raise RuntimeError(f"{procedure.artefact} has no value of {A_TO_B}.")
        warmth = temperature_of(world, number, self.day, ended.hour)
        expansion = procedure.artefact.expansion
        growth = float(expansion.value if expansion else 0) * (warmth - 20)
        true_mm = float(reference.value.value) * (1 + growth)
        self.made = record_check(
            system=world.register.systems[number],
            procedure=procedure,
            started_at=started,
            ended_at=ended,
            artefact_temperature=Quantity(f"{warmth:.1f}", "°C"),
            thermometer=world.register.thermometers[number],
            readings={
                name: Quantity(f"{true_mm + self._error_mm():.4f}", "mm")
                for name in procedure.position_names
            },
            form_key=f"demo-{number}-{ended:%Y%m%d%H%M}",
            acting_user=world.staff.technicians[number],
        )

    def _error_mm(self) -> float:
        # A tracker ages a little: the trend that its chart shows.
        age = (self.day - self.world.first_day).days / 365
        drift_um = 6.0 * age if self.system == 0 else 2.0 * age
        return (self.world.dice.gauss(drift_um, 6.0) + self.extra_um) / 1000


def renew_calibrations(world: World, day: date) -> None:
    """Send out what falls due within ten days; one device is left to be noticed."""
    for device in Device.objects.exclude(kind=DeviceKind.ROTARY_TABLE):
        newest = device.calibrations.order_by("-due_on").first()
        last_weeks = day > world.last_day - timedelta(days=40)
        if newest is None or (device.tag == "BB-1" and last_weeks):
            continue
        if newest.due_on <= day + timedelta(days=10):
            recalibrate(device, world.staff, day)
