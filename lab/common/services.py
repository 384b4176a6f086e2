"""``@service``: what every write of the project goes through."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, overload

from django.conf import settings
from django.db import transaction

from lab.common import audit
from lab.common.errors import NotAllowed

Params = ParamSpec("Params")
Result = TypeVar("Result")

#: Every service of the project by its full name; the architecture tests read it.
SERVICES: dict[str, Callable[..., Any]] = {}


class UnauditedService(AssertionError):
    """A service changed nothing that the audit tells of, and didn't say so."""


@overload
def service(function: Callable[Params, Result]) -> Callable[Params, Result]: ...
@overload
def service(
    *, may: str
) -> Callable[[Callable[Params, Result]], Callable[Params, Result]]: ...
def service(function: Any = None, *, may: str = "") -> Any:
    """Run a write in one transaction, by a known actor, leaving an audit entry.

    The wrapped function takes keywords only, ``acting_user`` among them and
    without a default. With ``may``, the actor's role must allow that action of the
    permission table, whoever calls. A service that finds nothing to do says so
    with :func:`lab.common.audit.nothing_changed`; one that leaves no entry and
    doesn't say so fails the tests.

    Raises
    ------
    TypeError
        If the function's signature, or a call without an actor, breaks the rule.
    NotAllowed
        If the actor is deactivated or the role may not do this.
    """
    if function is None:
        return functools.partial(service, may=may)
    _require_actor_parameter(function)

    @functools.wraps(function)
    def run(**kwargs: Any) -> Any:
        actor = kwargs.get("acting_user")
        if actor is None or not hasattr(actor, "may"):
            raise TypeError(f"{function.__name__} needs to know who acts.")
        if not actor.is_active or (may and not actor.may(may)):
            raise NotAllowed("Your role does not let you do this.")
        with transaction.atomic(), audit.follow() as trail:
            result = function(**kwargs)
            if settings.TESTING and not (trail.entries or trail.nothing_changed):
                raise UnauditedService(f"{function.__name__} left no audit entry.")
        return result

    run.may = may  # type: ignore[attr-defined]
    SERVICES[f"{function.__module__}.{function.__qualname__}"] = run
    return run


def _require_actor_parameter(function: Callable[..., Any]) -> None:
    parameters = inspect.signature(function).parameters.values()
    actor = [p for p in parameters if p.name == "acting_user"]
    if not actor or actor[0].default is not inspect.Parameter.empty:
        raise TypeError(f"{function.__name__} must ask for acting_user, no default.")
    if any(p.kind is not inspect.Parameter.KEYWORD_ONLY for p in parameters):
        raise TypeError(f"{function.__name__} must take keywords only.")
