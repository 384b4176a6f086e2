"""Numbers in series, without a gap where the caller's transaction holds or falls.

The counter's row is locked by the UPDATE itself until the caller's transaction
ends, so a number is never given twice and one given to a transaction that fails is
given again. It is the last lock that a transaction takes (DEVELOPERS.md, "Locks").
"""

from __future__ import annotations

from django.db import connection

from lab.common.models import NumberSeries


def next_number(series: str, year: int) -> int:
    """Take the next number of a series and year; call it inside a transaction.

    Raises
    ------
    RuntimeError
        Outside a transaction, where a failure would leave a gap.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("A number is taken inside the transaction that uses it.")
    number = _advance(series, year)
    if number is None:
        NumberSeries.objects.bulk_create(
            [NumberSeries(series=series, year=year)], ignore_conflicts=True
        )
        number = _advance(series, year)
    assert number is not None  # noqa: S101 - the row was inserted just above
    return number


def _advance(series: str, year: int) -> int | None:
    table = connection.ops.quote_name(NumberSeries._meta.db_table)
    with connection.cursor() as cursor:
        cursor.execute(
            f"UPDATE {table} SET last = last + 1 "  # noqa: S608 - no outside text
            "WHERE series = %s AND year = %s RETURNING last",
            [series, year],
        )
        row = cursor.fetchone()
    return int(row[0]) if row else None
