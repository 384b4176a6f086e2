"""People: whoever signs in, with one role each."""

from __future__ import annotations

from typing import Any, ClassVar, Final

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower
from django.utils.crypto import salted_hmac

from lab.accounts.permissions import CODE_ROLES, Role, may
from lab.common import clock

EMAIL_LENGTH: Final = 200
NAME_LENGTH: Final = 120


class UserManager(BaseUserManager["User"]):
    """Finds people by the e-mail that they sign in with, in any case of letters."""

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser):
    """A person who signs in by e-mail. Deactivated when they leave, never deleted."""

    email = models.EmailField(unique=True, max_length=EMAIL_LENGTH)
    name = models.CharField(max_length=NAME_LENGTH)
    role = models.CharField(max_length=20, choices=Role.choices)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name", "role"]

    objects = UserManager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(email=Lower("email")),
                name="user_email_in_lower_case",
            )
        ]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name.split()[0] if self.name.split() else self.email

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        raise TypeError("A person is deactivated, never deleted: records name them.")

    def may(self, action: str) -> bool:
        """Tell whether the permission table lets this person do ``action``."""
        return self.is_active and may(self.role, action)

    @property
    def needs_code(self) -> bool:
        """Tell whether this role signs in with a one-time code besides the password."""
        return self.role in CODE_ROLES

    @property
    def is_client(self) -> bool:
        return self.role == Role.CLIENT

    def get_session_auth_hash(self) -> str:
        """Tie sessions to password, role and activity: a change of any ends them."""
        return self._auth_hash()

    def get_session_auth_fallback_hash(self) -> Any:
        yield from ()

    def _auth_hash(self) -> str:
        content = f"{self.password}|{self.role}|{self.is_active}"
        salt = "lab.accounts.User.session"
        return salted_hmac(salt, content, algorithm="sha256").hexdigest()
