"""People, and what they sign in with: passwords, links, codes, shared tablets."""

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
    sessions_ended = models.PositiveIntegerField(
        default=0, help_text="Counts up whenever all sessions are to end."
    )

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name", "role"]

    objects = UserManager()
    #: The phone whose code this session has shown; django-otp's middleware sets it.
    otp_device: Any = None

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
    def has_shown_code(self) -> bool:
        """Tell whether this request's person is fully in, code included."""
        return not self.needs_code or self.otp_device is not None

    @property
    def is_client(self) -> bool:
        return self.role == Role.CLIENT

    def get_session_auth_hash(self) -> str:
        """Tie sessions to password, role and activity: a change of any ends them."""
        return self._auth_hash()

    def get_session_auth_fallback_hash(self) -> Any:
        yield from ()

    def _auth_hash(self) -> str:
        content = f"{self.password}|{self.role}|{self.is_active}|{self.sessions_ended}"
        salt = "lab.accounts.User.session"
        return salted_hmac(salt, content, algorithm="sha256").hexdigest()


class BackupCode(models.Model):
    """One of ten codes for the day the phone is lost. Each is good once."""

    person = models.ForeignKey(
        User, on_delete=models.PROTECT, related_name="backup_codes"
    )
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=clock.now, editable=False)
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"backup code {self.pk} of {self.person_id}"


class PasswordLink(models.Model):
    """A link to set a password by, sent by mail, good once and for a while.

    The row is made when the link is wanted; the secret in it is made when the mail
    is, so that only its digest is ever stored.
    """

    class Kind(models.TextChoices):
        INVITATION = "invitation", "invitation"
        RESET = "reset", "reset"

    person = models.ForeignKey(
        User, on_delete=models.PROTECT, related_name="password_links"
    )
    kind = models.CharField(max_length=12, choices=Kind.choices)
    digest = models.CharField(max_length=64, blank=True)
    asked_at = models.DateTimeField(default=clock.now, editable=False)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["digest"],
                condition=~models.Q(digest=""),
                name="password_link_digest_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} for {self.person_id}"


class PasswordRequest(models.Model):
    """One press of "send me a link", kept a day to hold back who presses too often."""

    email = models.CharField(max_length=EMAIL_LENGTH)
    ip_address = models.GenericIPAddressField(null=True)
    asked_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        indexes = [
            models.Index(fields=["asked_at"], name="password_request_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.email} {self.asked_at:%Y-%m-%d %H:%M}"


class Tablet(models.Model):
    """A device that several people use, known by a secret in its browser's cookie."""

    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=clock.now, editable=False)

    def __str__(self) -> str:
        return f"tablet {self.pk}"


class TabletPerson(models.Model):
    """Who signed in on a tablet, and when last: the names to tap on its lock page."""

    tablet = models.ForeignKey(Tablet, on_delete=models.PROTECT, related_name="people")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    last_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["tablet", "person"], name="tablet_person_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person_id} on tablet {self.tablet_id}"
