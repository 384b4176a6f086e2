"""Frozen records: three fences, on whichever database runs the tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core import checks
from django.db import connection, models, transaction
from django.db.utils import DatabaseError, IntegrityError, InternalError

from lab.common import fences
from lab.common.frozen import FrozenRecordChange, frozen_models
from lab.common.models import StoredFile

REFUSED = (IntegrityError, InternalError, DatabaseError)
TABLE = StoredFile._meta.db_table


def make_record(letter: str = "a") -> StoredFile:
    return StoredFile.objects.create(
        sha256=letter * 64, size=3, content_type="text/plain", original_name="note.txt"
    )


def run(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.mark.django_db
def test_the_model_refuses_a_second_save_and_a_delete() -> None:
    record = make_record()
    record.original_name = "other.txt"
    with pytest.raises(FrozenRecordChange, match="insert-only"):
        record.save()
    with pytest.raises(FrozenRecordChange):
        record.delete()
    assert StoredFile.objects.get(pk=record.pk).original_name == "note.txt"


@pytest.mark.django_db
def test_an_instance_made_by_hand_can_not_overwrite() -> None:
    record = make_record()
    forged = StoredFile(pk=record.pk, sha256="f" * 64, size=1, original_name="forged")
    with pytest.raises(IntegrityError), transaction.atomic():
        forged.save()


@pytest.mark.django_db
def test_the_queryset_refuses_what_is_no_insert() -> None:
    record = make_record()
    everything = StoredFile.objects.all()
    with pytest.raises(FrozenRecordChange):
        everything.update(size=4)
    with pytest.raises(FrozenRecordChange):
        everything.delete()
    with pytest.raises(FrozenRecordChange):
        StoredFile._base_manager.filter(pk=record.pk).update(size=4)
    with pytest.raises(FrozenRecordChange):
        StoredFile.objects.bulk_update([record], ["size"])
    with pytest.raises(FrozenRecordChange):
        StoredFile.objects.bulk_create(
            [record],
            update_conflicts=True,
            unique_fields=["sha256"],
            update_fields=["size"],
        )
    with pytest.raises(FrozenRecordChange):
        StoredFile.objects.update_or_create(sha256="a" * 64, defaults={"size": 9})
    assert StoredFile.objects.get(pk=record.pk).size == 3


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    [
        f"UPDATE {TABLE} SET size = 4",
        f"DELETE FROM {TABLE}",
    ],
)
def test_the_database_refuses_raw_changes(statement: str) -> None:
    make_record()
    with pytest.raises(REFUSED, match="insert-only"):
        run(statement)
    assert StoredFile.objects.get().size == 3


@pytest.mark.django_db
def test_the_database_refuses_to_replace_a_row() -> None:
    record = make_record()
    if connection.vendor == "postgresql":
        statement = (
            f"INSERT INTO {TABLE} (id, sha256, size, content_type, original_name, "
            f"recorded_at) VALUES ({record.pk}, 'b', 4, 'x', 'y', now()) "
            "ON CONFLICT (id) DO UPDATE SET size = 4"
        )
    else:
        statement = (
            f"INSERT OR REPLACE INTO {TABLE} (id, sha256, size, content_type, "
            f"original_name, recorded_at) VALUES ({record.pk}, 'b', 4, 'x', 'y', '26')"
        )
    with pytest.raises(REFUSED, match="insert-only"):
        run(statement)
    assert StoredFile.objects.get().size == 3


@pytest.mark.django_db
def test_the_database_refuses_to_truncate() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no TRUNCATE; its DELETE is refused above.")
    make_record()
    with pytest.raises(REFUSED, match="insert-only"):
        run(f"TRUNCATE {TABLE} CASCADE")


@pytest.mark.django_db
def test_the_manager_of_a_related_object_refuses_too() -> None:
    record = make_record()
    with pytest.raises(FrozenRecordChange):
        StoredFile._base_manager.get(pk=record.pk).delete()


@pytest.fixture
def altered_table() -> Iterator[None]:
    """Alter a frozen table as a later migration would, and alter it back."""
    before = StoredFile._meta.get_field("original_name")
    after = models.CharField(max_length=300, null=True)
    after.set_attributes_from_name("original_name")
    after.model = StoredFile
    with connection.schema_editor() as editor:
        editor.alter_field(StoredFile, before, after)
    yield
    with connection.schema_editor() as editor:
        editor.alter_field(StoredFile, after, before)
    fences.build(connection)


@pytest.mark.django_db(transaction=True)
def test_a_later_alteration_of_the_table_leaves_the_fence_standing(
    altered_table: None,
) -> None:
    fences.build_after_migrate(using="default")  # what migrate ends with
    make_record()
    with pytest.raises(REFUSED, match="insert-only"):
        run(f"UPDATE {TABLE} SET size = 4")


@pytest.mark.django_db(transaction=True)
def test_a_missing_fence_is_named_by_the_check() -> None:
    assert fences.check_fences(databases=["default"]) == []
    fences.drop(connection)
    found = fences.check_fences(databases=["default"])
    assert {message.id for message in found} == {"unbroken.E001"}
    assert any(f"fence_{TABLE}_update" in message.msg for message in found)
    assert len(found) == len(fences.expected(connection))
    fences.build(connection)
    assert fences.missing(connection) == set()


def test_the_check_runs_where_databases_are_named() -> None:
    assert fences.check_fences in checks.registry.registry.get_checks()


@pytest.mark.django_db
def test_every_frozen_table_is_fenced() -> None:
    fenced = set(fences.expected(connection).values())
    assert fenced == {model._meta.db_table for model in frozen_models()}
    assert fences.missing(connection) == set()
    longest = max(map(len, fences.expected(connection)))
    assert longest <= 63, "PostgreSQL cuts longer names off"
