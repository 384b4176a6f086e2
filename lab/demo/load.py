"""Fills an empty database with the invented lab."""

from __future__ import annotations

from django.core.management.base import OutputWrapper

from lab.accounts.services import create_person, enrol_for_demo
from lab.common.actors import PROGRAM
from lab.demo.people import COLLEAGUES


def load(stdout: OutputWrapper) -> None:
    """Make everything; the caller's transaction keeps all of it or nothing."""
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
    stdout.write(f"{len(COLLEAGUES)} people work here.")
