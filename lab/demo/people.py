"""Who works in the invented lab: Saltmarsh Dimensional, Port Ennis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lab.accounts.permissions import Role


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
