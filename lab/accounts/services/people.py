"""People come, change their part in the lab, and leave; none is ever deleted."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from lab.accounts.models import EMAIL_LENGTH, NAME_LENGTH, User
from lab.accounts.permissions import Role
from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import NotAcceptable
from lab.common.services import service


@service(may="people.change")
def create_person(
    *, email: str, name: str, role: str, password: str | None = None, acting_user: Actor
) -> User:
    """Add a person who signs in by e-mail.

    Without a password nobody can sign in as them until they set one by a link
    that was sent to them.

    Raises
    ------
    NotAcceptable
        If the address is no address or is taken, the name is empty, there is no
        such role, or the password is too weak.
    """
    person = User(
        email=clean_email(email), name=clean_name(name), role=clean_role(role)
    )
    require_free_email(person)
    if password is None:
        person.set_unusable_password()
    else:
        require_good_password(password, person)
        person.set_password(password)
    person.save()
    audit.record("person.added", person, actor=acting_user, after=described(person))
    return person


def described(person: User) -> dict[str, object]:
    """Return what the audit keeps of a person."""
    return {
        "email": person.email,
        "name": person.name,
        "role": person.role,
        "active": person.is_active,
    }


def clean_email(said: str) -> str:
    """Return an address in lower case, the one form in which it is stored."""
    email = said.strip().lower()
    try:
        validate_email(email)
    except ValidationError:
        raise NotAcceptable(
            f"“{said}” is no e-mail address. Give one like name@lab.example.",
            field="email",
        ) from None
    if len(email) > EMAIL_LENGTH:
        raise NotAcceptable("This e-mail address is too long.", field="email")
    return email


def clean_name(said: str) -> str:
    name = " ".join(said.split())
    if not name:
        raise NotAcceptable("Give the person's name.", field="name")
    if len(name) > NAME_LENGTH:
        raise NotAcceptable(
            f"The name is too long; {NAME_LENGTH} letters fit.", field="name"
        )
    return name


def clean_role(said: str) -> Role:
    try:
        return Role(said)
    except ValueError:
        raise NotAcceptable(
            f"There is no role “{said}”. Choose one of the list.", field="role"
        ) from None


def require_free_email(person: User) -> None:
    others = User.objects.exclude(pk=person.pk)
    if others.filter(email=person.email).exists():
        raise NotAcceptable(
            f"Somebody signs in as {person.email} already. "
            "Use another address, or change that person instead.",
            field="email",
        )


def require_good_password(password: str, person: User) -> None:
    """Refuse a password that is short, common, all digits or like the person's name."""
    try:
        validate_password(password, person)
    except ValidationError as refusal:
        raise NotAcceptable(" ".join(refusal.messages), field="password") from None
