"""One's own account: the password, the codes, the sessions."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from lab.accounts.forms import ChangePasswordForm
from lab.accounts.http import Request
from lab.accounts.selectors import backup_codes_left, recent_sign_ins
from lab.accounts.services import change_password, end_all_sessions
from lab.accounts.views.sign_in import get_or_post, status_of
from lab.common.errors import DomainError
from lab.common.forms import add_refusal


@require_safe
def own(request: Request) -> HttpResponse:
    context = {
        "sign_ins": recent_sign_ins(request.user),
        "codes_left": backup_codes_left(request.user),
    }
    return render(request, "accounts/own.html", context)


@sensitive_post_parameters()
@get_or_post
def password(request: Request) -> HttpResponse:
    form = ChangePasswordForm(request, request.POST or None)
    if form.is_valid():
        try:
            return _changed(request, form.cleaned_data["password"])
        except DomainError as refusal:
            add_refusal(form, refusal)
    context = {"form": form}
    return render(request, "accounts/password.html", context, status=status_of(form))


@require_POST
def sign_out_elsewhere(request: Request) -> HttpResponse:
    update_session_auth_hash(request, end_all_sessions(acting_user=request.user))
    messages.success(request, "You are signed out everywhere but here.")
    return redirect("accounts:own")


def _changed(request: Request, new: str) -> HttpResponse:
    update_session_auth_hash(
        request, change_password(new=new, acting_user=request.user)
    )
    messages.success(request, "The new password counts from now on.")
    return redirect("accounts:own")
