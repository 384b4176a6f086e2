"""Methods begin, are retitled, and their revisions are taken out of use."""

from __future__ import annotations

import re
from datetime import datetime

from lab.accounts.models import User
from lab.common import audit, clock
from lab.common.errors import NotAcceptable, WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder
from lab.laboratory.models import Method, MethodRevision, MethodWithdrawal
from lab.laboratory.records import change, insert

_CODE = re.compile(r"[A-Za-z0-9_-]+")


@service(may="methods.revise")
def start_method(*, code: str, title: str, acting_user: User) -> Method:
    """Begin a method by code and title. It is in force once a revision is.

    Raises
    ------
    NotAcceptable
        If the code is taken or holds more than letters, digits, ``-`` and ``_``, or
        the title isn't fit to be printed.
    """
    code = refuse_placeholder(code, "code")
    if not _CODE.fullmatch(code) or code.casefold() == "new":
        raise NotAcceptable(
            f"“{code}” can't stand in an address. Use letters, digits, - and _ only, "
            "such as MP-03.",
            field="code",
        )
    if Method.objects.filter(code__iexact=code).exists():
        raise NotAcceptable(
            f"There is a method {code} already. Record a revision of it, "
            "or choose another code.",
            field="code",
        )
    method = insert(Method(code=code, title=refuse_placeholder(title, "title")))
    audit.record(
        "method.started",
        method,
        actor=acting_user,
        after={"code": method.code, "title": method.title},
    )
    return method


@service(may="methods.revise")
def change_method_title(*, method: Method, title: str, acting_user: User) -> Method:
    """Change a method's title; its code stays for good.

    Raises
    ------
    NotAcceptable
        If the title isn't fit to be printed.
    """
    method = Method.objects.select_for_update().get(pk=method.pk)
    before, after = change(method, title=refuse_placeholder(title, "title"))
    if not after:
        audit.nothing_changed()
        return method
    audit.record(
        "method.retitled", method, actor=acting_user, before=before, after=after
    )
    return method


@service(may="methods.revise")
def withdraw_method_revision(
    *,
    revision: MethodRevision,
    reason: str,
    at: datetime | None = None,
    acting_user: User,
) -> MethodWithdrawal:
    """Take a revision out of use, from now or from an instant that has passed.

    An older revision does not come back by it: the method is out of use until a
    new revision is recorded.

    Raises
    ------
    WrongState
        If it is withdrawn already.
    NotAcceptable
        If no reason is given, or the instant lies in the future.
    """
    reason = refuse_placeholder(reason, "reason")
    at = at or clock.now()
    clock.require_not_future(at)
    if MethodWithdrawal.objects.filter(revision=revision).exists():
        raise WrongState(f"{revision} is withdrawn already.")
    withdrawal = insert(
        MethodWithdrawal(
            revision=revision, at=at, reason=reason, withdrawn_by=acting_user
        )
    )
    audit.record(
        "method_revision.withdrawn",
        revision,
        actor=acting_user,
        reason=reason,
        after={"withdrawn_at": at},
    )
    return withdrawal
