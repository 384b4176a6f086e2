"""Triggers that refuse UPDATE, DELETE and TRUNCATE of frozen records in the database.

They are no migration's business: SQLite remakes a table for many an ALTER and its
triggers are gone with the old one. So they are put (back) after every migrate, a
check looks for them, and ``serve`` won't start while one is missing.
"""

from __future__ import annotations

from typing import Any

from django.core.checks import CheckMessage, Error
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Model
from django.db.utils import DatabaseError

from lab.common.frozen import frozen_models

POSTGRES_FUNCTION = "unbroken_refuse_change"
REFUSAL = "is insert-only: write a new row that supersedes it"


def expected(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """Return the name of every trigger that must stand, and its table."""
    kinds = ("update", "delete")
    if connection.vendor == "postgresql":
        kinds += ("truncate",)  # type: ignore[assignment]
    return {
        f"fence_{table}_{kind}": table
        for table in _tables(connection)
        for kind in kinds
    }


def standing(connection: BaseDatabaseWrapper) -> set[str]:
    """Return the names of the fence triggers that the database has, switched on."""
    if connection.vendor == "postgresql":
        query = (
            "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal "
            "AND tgenabled IN ('O', 'A') AND tgname LIKE 'fence\\_%%'"
        )
    else:
        query = (
            "SELECT name FROM sqlite_master WHERE type = 'trigger' "
            "AND name LIKE 'fence\\_%%' ESCAPE '\\'"
        )
    with connection.cursor() as cursor:
        cursor.execute(query, [])
        return {name for (name,) in cursor.fetchall()}


def missing(connection: BaseDatabaseWrapper) -> set[str]:
    return set(expected(connection)) - standing(connection)


def build(connection: BaseDatabaseWrapper) -> None:
    """Put up every fence that is not standing. Doing it again changes nothing."""
    wanted, there = expected(connection), standing(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                f"CREATE OR REPLACE FUNCTION {POSTGRES_FUNCTION}() RETURNS trigger "
                "LANGUAGE plpgsql AS $$ BEGIN "
                f"RAISE EXCEPTION '%% {REFUSAL}', TG_TABLE_NAME "
                "USING ERRCODE = 'integrity_constraint_violation'; END $$",
                [],
            )
        for name, table in wanted.items():
            if name not in there:
                cursor.execute(_statement(connection, name, table))


def drop(connection: BaseDatabaseWrapper) -> None:
    """Take the fences down; only the test runner's flush of its database does."""
    tables = expected(connection)
    with connection.cursor() as cursor:
        for name in standing(connection):
            on = (
                f" ON {connection.ops.quote_name(tables[name])}"
                if connection.vendor == "postgresql"
                else ""
            )
            cursor.execute(
                f"DROP TRIGGER IF EXISTS {connection.ops.quote_name(name)}{on}"
            )


def build_after_migrate(using: str = DEFAULT_DB_ALIAS, **_kwargs: Any) -> None:
    build(connections[using])


def check_fences(
    app_configs: Any = None, databases: Any = None, **_kwargs: Any
) -> list[CheckMessage]:
    """Report missing fences; runs where a check names its databases."""
    messages: list[CheckMessage] = []
    for alias in databases or []:
        try:
            gone = missing(connections[alias])
        except DatabaseError:
            continue  # no tables yet: migrate comes first and builds the fences
        messages += [
            Error(
                f"The fence {name} is missing: a frozen record could be changed.",
                hint="`manage.py migrate` puts it back. Find out who took it.",
                id="unbroken.E001",
            )
            for name in sorted(gone)
        ]
    return messages


def _tables(connection: BaseDatabaseWrapper) -> list[str]:
    there = set(connection.introspection.table_names())
    names: list[type[Model]] = frozen_models()
    return [m._meta.db_table for m in names if m._meta.db_table in there]


def _statement(connection: BaseDatabaseWrapper, name: str, table: str) -> str:
    quote = connection.ops.quote_name
    kind = name.rsplit("_", 1)[1].upper()
    if connection.vendor == "postgresql":
        scope = "STATEMENT" if kind == "TRUNCATE" else "ROW"
        return (
            f"CREATE TRIGGER {quote(name)} BEFORE {kind} ON {quote(table)} "
            f"FOR EACH {scope} EXECUTE FUNCTION {POSTGRES_FUNCTION}()"
        )
    return (
        f"CREATE TRIGGER {quote(name)} BEFORE {kind} ON {quote(table)} "
        f"BEGIN SELECT RAISE(ABORT, '{table} {REFUSAL}'); END"
    )
