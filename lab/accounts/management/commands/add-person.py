"""Add a person from the command line, such as the first administrator."""  # noqa: N999

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from lab.accounts.permissions import Role
from lab.accounts.services import create_person, hand_over_link
from lab.common.actors import PROGRAM
from lab.common.errors import DomainError


class Command(BaseCommand):
    """Add a person and let them set a password by a link, or set it here."""

    help = (
        "Add a person, such as the first administrator. Prints a link by which they "
        "set their password; with --password asks for it (or reads a line that is "
        "piped in) instead."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")
        parser.add_argument("name")
        parser.add_argument("--role", choices=Role.values, default=Role.ADMINISTRATOR)
        parser.add_argument("--password", action="store_true")

    def handle(self, *_args: Any, **options: Any) -> None:
        password = _ask_password() if options["password"] else None
        try:
            person = create_person(
                email=options["email"],
                name=options["name"],
                role=options["role"],
                password=password,
                acting_user=PROGRAM,
            )
        except DomainError as refusal:
            raise CommandError(refusal.sentence) from None
        self.stdout.write(f"{person.name} is added as {person.get_role_display()}.")
        if password is None:
            link = hand_over_link(person=person, acting_user=PROGRAM)
            self.stdout.write(f"Within a week, the password is set at {link}")


def _ask_password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("Password: ")
    if getpass.getpass("The same again: ") != password:
        raise CommandError("The two passwords are not the same; nobody was added.")
    return password
