"""Time zones of places, by their names in the IANA time zone database."""

from __future__ import annotations

import functools
from zoneinfo import available_timezones

from lab.common.errors import NotAcceptable

#: In the database, but no place: they name the machine's own zone or none.
_NO_PLACES = frozenset({"Factory", "localtime"})


@functools.cache
def zone_names() -> tuple[str, ...]:
    """Return every zone that names a place, and UTC, in order of the alphabet.

    The old names without a region ("GB", "EST") are left out: the database keeps
    them for old programs only.
    """
    there = available_timezones() - _NO_PLACES
    return tuple(sorted(name for name in there if "/" in name or name == "UTC"))


def require_zone(name: str, *, field: str = "time_zone") -> str:
    """Return the name of a time zone, or refuse it.

    Raises
    ------
    NotAcceptable
        If the database knows no such zone.
    """
    if name not in zone_names():
        raise NotAcceptable(
            f"“{name}” is no time zone of the IANA database. "
            "Choose one by its region and city, such as Europe/Dublin.",
            field=field,
        )
    return name
