"""The kinds of work, as each app's ``tasks.py`` declares them."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from importlib import import_module
from importlib.util import find_spec

from django.conf import settings

from lab.common.errors import DomainError


class UnknownKind(LookupError):
    """Work was asked for under a name that no app declares."""


class TryLater(DomainError):
    """The work could not begin, and nothing has happened outside the database.

    The one refusal after which mail is tried again without a person's word: a
    server that could not be reached has sent nothing.
    """


@dataclass(frozen=True, slots=True)
class Kind:
    """What a kind of work runs, and within which bounds.

    Parameters
    ----------
    run : callable
        Called with the object's id; a periodic kind's with nothing.
    limit_s : int
        The longest that a run may take. After this and a margin its lease is over
        and another worker takes the row: nothing renews a lease.
    tries : int
        How often a run may begin before the row counts as failed.
    every : timedelta, optional
        Makes the kind periodic. A tick missed while no worker ran is made up once.
    due : callable, optional
        Of a periodic kind: a cheap question whether a tick has anything to do.
    sends_mail : bool
        The effect can't be taken back or recognised afterwards. A run that was
        interrupted or failed is not begun again without a person's word, unless
        it raised :class:`TryLater`.
    """

    run: Callable[..., object]
    limit_s: int
    tries: int = 5
    every: timedelta | None = None
    due: Callable[[], bool] | None = None
    sends_mail: bool = False

    def __post_init__(self) -> None:
        if self.limit_s < 1 or self.tries < 1:
            raise ValueError("A kind of work needs at least one second and one try.")
        if self.every is not None and self.every < timedelta(seconds=1):
            raise ValueError("A periodic kind comes round once a second at most.")
        if self.due is not None and self.every is None:
            raise ValueError("Only a periodic kind is asked whether it is due.")


@functools.cache
def all_kinds() -> Mapping[str, Kind]:
    """Return every declared kind by name, read from the apps on first use.

    Raises
    ------
    ValueError
        If a kind's name doesn't begin with its app's.
    """
    found: dict[str, Kind] = {}
    for app in settings.LAB_APPS:
        if find_spec(f"{app}.tasks") is None:
            continue
        declared: Mapping[str, Kind] = import_module(f"{app}.tasks").KINDS
        prefix = app.rpartition(".")[2] + "."
        strays = [name for name in declared if not name.startswith(prefix)]
        if strays:
            raise ValueError(f"{app} may not declare the kinds {', '.join(strays)}.")
        found.update(declared)
    return found


def kind_named(name: str) -> Kind:
    """Return a kind.

    Raises
    ------
    UnknownKind
        If no app declares it.
    """
    try:
        return all_kinds()[name]
    except KeyError:
        raise UnknownKind(
            f"No app declares work of the kind {name!r}; "
            "add it to KINDS in that app's tasks.py."
        ) from None
