"""What is acceptable as an address, a name, a role and a password."""

from __future__ import annotations

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from lab.accounts.models import EMAIL_LENGTH, NAME_LENGTH, User
from lab.accounts.permissions import Role
from lab.common.errors import NotAcceptable


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


def clean_reason(said: str) -> str:
    reason = said.strip()
    if not reason:
        raise NotAcceptable("Give the reason: it goes into the record.", field="reason")
    return reason


def require_free_email(email: str, *, besides: User | None = None) -> None:
    others = User.objects.filter(email=email)
    if besides is not None:
        others = others.exclude(pk=besides.pk)
    if others.exists():
        raise NotAcceptable(
            f"Somebody signs in as {email} already. "
            "Use another address, or change that person instead.",
            field="email",
        )


def require_good_password(
    password: str, person: User, *, field: str = "password"
) -> None:
    """Refuse a password that is short, common, all digits or like the person's name."""
    try:
        validate_password(password, person)
    except ValidationError as refusal:
        raise NotAcceptable(" ".join(refusal.messages), field=field) from None
