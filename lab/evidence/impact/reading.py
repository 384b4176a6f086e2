"""A stretch of work in which the database refuses every write."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def read_only() -> Iterator[None]:
    """Let what runs inside read and not write, on SQLite and PostgreSQL alike.

    On PostgreSQL the transaction, or the savepoint where one is open already, is
    rolled back at the end, which lifts the restriction; there was nothing to keep.
    """
    if connection.vendor == "sqlite":
        with _sqlite_query_only():
            yield
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION READ ONLY")
        yield
        transaction.set_rollback(True)


@contextmanager
def _sqlite_query_only() -> Iterator[None]:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA query_only = ON")
    try:
        yield
    finally:
        # Past Django's cursor, which does nothing more in a transaction that failed.
        connection.connection.execute("PRAGMA query_only = OFF")
