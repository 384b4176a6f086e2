"""Fresh passwords for the people of the demo, at every start."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import Final

from lab.accounts.models import User
from lab.common import audit
from lab.common.actors import PROGRAM, Actor
from lab.common.services import service
from lab.demo.people import COLLEAGUES

#: Letters and digits that nobody mistakes for one another on a tablet.
SIGNS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
GROUPS, GROUP_LENGTH = 4, 4


@dataclass(frozen=True, slots=True)
class Login:
    """What a person of the demo signs in with until it is started again."""

    email: str
    part: str
    password: str = field(repr=False)


def renew_logins() -> list[Login]:
    """Give everybody of the invented lab a new password, and return them all."""
    logins = []
    for person in User.objects.filter(email__in=[c.email for c in COLLEAGUES]):
        password = new_password()
        renew_password(person=person, password=password, acting_user=PROGRAM)
        logins.append(Login(person.email, person.get_role_display(), password))
    order = [colleague.email for colleague in COLLEAGUES]
    return sorted(logins, key=lambda login: order.index(login.email))


@service(may="people.change")
def renew_password(*, person: User, password: str, acting_user: Actor) -> None:
    """Set a person's password; whoever was signed in as them is signed out."""
    person.set_password(password)
    person.save(update_fields=["password"])
    audit.record("password.renewed_for_demo", person, actor=acting_user)


def new_password() -> str:
    """Return four groups of four signs, about 79 bits."""
    groups = (
        "".join(secrets.choice(SIGNS) for _ in range(GROUP_LENGTH))
        for _ in range(GROUPS)
    )
    return "-".join(groups)
