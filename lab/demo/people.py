"""Who works in the invented lab: Saltmarsh Dimensional, Port Ennis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lab.accounts.models import User
from lab.accounts.permissions import Role
from lab.accounts.services import create_person, enrol_for_demo
from lab.common.actors import PROGRAM


@dataclass(frozen=True, slots=True)
class Colleague:
    """One invented person."""

    email: str
    name: str
    role: Role


COLLEAGUES: Final = (
    Colleague("imke@saltmarsh.example", "Imke Sandvoort", Role.COORDINATOR),
    Colleague("teodor@saltmarsh.example", "Teodor Quill", Role.TECHNICIAN),
    Colleague("bryn@saltmarsh.example", "Bryn Halloway", Role.TECHNICIAN),
    Colleague("nadia@saltmarsh.example", "Nadia Pellworm", Role.TECHNICIAN),
    Colleague("ottoline@saltmarsh.example", "Ottoline Marsh", Role.SIGNATORY),
    Colleague("ruben@saltmarsh.example", "Ruben Achterkamp", Role.QUALITY),
    Colleague("sunniva@saltmarsh.example", "Sunniva Locke", Role.ADMINISTRATOR),
)


@dataclass(frozen=True, slots=True)
class Staff:
    """The people of the lab by what they are."""

    coordinator: User
    technicians: tuple[User, User, User]
    signatory: User
    quality: User
    administrator: User


def hire() -> Staff:
    """Add everybody; those whose role needs one get a code that the demo shows."""
    people: dict[str, list[User]] = {}
    for colleague in COLLEAGUES:
        person = create_person(
            email=colleague.email,
            name=colleague.name,
            role=colleague.role,
            password=None,  # each start of the demo makes fresh ones
            acting_user=PROGRAM,
        )
        if person.needs_code:
            enrol_for_demo(person=person, acting_user=PROGRAM)
        people.setdefault(person.role, []).append(person)
    first, second, third = people[Role.TECHNICIAN]
    return Staff(
        coordinator=people[Role.COORDINATOR][0],
        technicians=(first, second, third),
        signatory=people[Role.SIGNATORY][0],
        quality=people[Role.QUALITY][0],
        administrator=people[Role.ADMINISTRATOR][0],
    )
