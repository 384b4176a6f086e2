"""Forms of the sign-in, of one's own account, and of the people pages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import authenticate

from lab.accounts.codes import DemoHint, check_code, demo_hint, demo_hint_for_key
from lab.accounts.http import Request
from lab.accounts.identity import ConfirmedIdentity, confirm_identity, has_password
from lab.accounts.models import EMAIL_LENGTH, NAME_LENGTH, User
from lab.accounts.permissions import Role
from lab.common.errors import DomainError
from lab.common.forms import add_refusal


class PasswordField(forms.CharField):
    """A password; ``autocomplete`` tells the browser whether it is old or new."""

    def __init__(self, autocomplete: str, **kwargs: Any) -> None:
        widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
        super().__init__(strip=False, max_length=200, widget=widget, **kwargs)


class EmailBox(forms.CharField):
    """An e-mail address as typed; whether it is one, the service says."""

    def __init__(self, autocomplete: str = "off", **kwargs: Any) -> None:
        widget = forms.EmailInput(attrs={"autocomplete": autocomplete})
        super().__init__(max_length=EMAIL_LENGTH, widget=widget, **kwargs)


class CodeField(forms.CharField):
    """A one-time code: six digits from a phone, or a backup code."""

    def __init__(self, *, backup: bool = False, **kwargs: Any) -> None:
        attrs = {"autocomplete": "one-time-code", "spellcheck": "false"}
        if not backup:
            attrs["inputmode"] = "numeric"
        widget = forms.TextInput(attrs=attrs)
        super().__init__(max_length=40, widget=widget, **kwargs)


class SignInForm(forms.Form):
    """E-mail and password; ``person`` is who they belong to."""

    email = EmailBox("username", label="E-mail")
    password = PasswordField("current-password", label="Password")
    shared = forms.BooleanField(
        label="This is a shared tablet",
        required=False,
        help_text="It locks when nobody touches it for a quarter of an hour, and "
        "remembers who signed in here, by name.",
    )
    person: User

    def __init__(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or {}
        if not self.errors:
            email = typed["email"].strip().lower()
            found = find_person(self.request, email, typed["password"])
            if found is None:
                raise forms.ValidationError(
                    "E-mail and password do not belong together. Check both; capital "
                    "and small letters count in the password."
                )
            self.person = found
        return typed


class TabletPasswordForm(forms.Form):
    """The password of the person whose name was tapped."""

    password = PasswordField("current-password", label="Password")

    def __init__(self, request: Request, who: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request, self.person = request, who

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        found = find_person(self.request, self.person.email, password)
        if found is None:
            raise forms.ValidationError(f"This is not {self.person.name}’s password.")
        self.person = found
        return password


class CodeForm(forms.Form):
    """The one-time code after the password; ``device`` is the phone that showed it."""

    code = CodeField(label="One-time code")

    def __init__(
        self, person: User, *args: Any, backup: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        if backup:
            self.fields["code"] = CodeField(label="Backup code", backup=True)
        else:
            self.fields["code"].help_text = _code_help(demo_hint(person))

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"]
        try:
            self.device = check_code(self.person, code)
        except DomainError as refusal:
            raise forms.ValidationError(refusal.sentence) from None
        return code


class EnrolForm(forms.Form):
    """The first code that a newly enrolled phone shows."""

    code = CodeField(label="Code that the phone shows now")

    def __init__(self, key: str, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].help_text = _code_help(demo_hint_for_key(key))


class IdentityForm(forms.Form):
    """Password and code again; ``identity`` is the proof for the service.

    Reusable wherever an act can't be taken back; subclass it to ask for more in
    the same form. People whose role has no code are asked for the password only.
    """

    password = PasswordField("current-password", label="Your password, again")
    code = CodeField(label="One-time code")
    identity: ConfirmedIdentity

    def __init__(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        if request.user.needs_code:
            self.fields["code"].help_text = _code_help(demo_hint(request.user))
        else:
            del self.fields["code"]

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or {}
        if not self.errors:  # a code is used up only when all else is right
            try:
                self.identity = confirm_identity(
                    self.request, typed["password"], typed.get("code", "")
                )
            except DomainError as refusal:
                add_refusal(self, refusal)
        return typed


class AskPasswordForm(forms.Form):
    email = EmailBox("username", label="E-mail")


class NewPasswordForm(forms.Form):
    """A new password, typed twice."""

    password = PasswordField(
        "new-password",
        label="New password",
        help_text="Twelve signs or more. A few words that only you would put together "
        "are good and easy to type.",
    )
    again = PasswordField("new-password", label="The same again")

    def clean_again(self) -> str:
        again: str = self.cleaned_data["again"]
        if again != self.cleaned_data.get("password", again):
            raise forms.ValidationError("This is not the same as above.")
        return again


class ChangePasswordForm(NewPasswordForm):
    """One's own password: the present one, and twice the new one."""

    present = PasswordField("current-password", label="Present password")
    field_order = ["present", "password", "again"]

    def __init__(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_present(self) -> str:
        present: str = self.cleaned_data["present"]
        if not has_password(self.request, self.request.user, present):
            raise forms.ValidationError("This is not your present password.")
        return present


class PersonForm(forms.Form):
    """What the record says of a person."""

    name = forms.CharField(label="Name", max_length=NAME_LENGTH)
    email = EmailBox(label="E-mail", help_text="They sign in with it.")
    role = forms.ChoiceField(
        label="Role", choices=Role.choices, widget=forms.RadioSelect
    )


class ReasonForm(forms.Form):
    """The reason for an act, for the record."""

    reason = forms.CharField(label="Reason", max_length=500)


def find_person(request: Request, email: str, password: str) -> User | None:
    """Return whom e-mail and password belong to; wrong ones count to the lock-out."""
    found = authenticate(request, username=email, password=password)
    return found if isinstance(found, User) else None


def _code_help(hint: DemoHint | None) -> str:
    if hint is None:
        return "The six digits that your authenticator app shows for Unbroken."
    which = "next" if hint.is_next else "present"
    return f"This is a demo, so here is the {which} code: <strong>{hint.code}</strong>"
