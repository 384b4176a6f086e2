"""Inserting and changing records so that refusals are sentences and changes show."""

from __future__ import annotations

from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError, models, transaction

from lab.common.errors import NotAcceptable, WrongState
from lab.common.quantities import QuantityField
from lab.metrology.units import Quantity

Record = TypeVar("Record", bound=models.Model)


def insert(record: Record) -> Record:
    """Check a new record as its model says, and insert it.

    Raises
    ------
    NotAcceptable
        If a value is too long, no choice of its list, or taken.
    WrongState
        If another request inserted the same a moment before.
    """
    _require_valid(record)
    try:
        with transaction.atomic():
            record.save(force_insert=True)
    except IntegrityError:
        raise WrongState(
            "Somebody recorded the same a moment before. Load the page again."
        ) from None
    return record


def change(
    record: models.Model, **values: Any
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Set what differs, save just that, and return the old and the new values.

    Both are empty if nothing differs. The caller has locked the row.

    Raises
    ------
    NotAcceptable
        As :func:`insert` does.
    """
    new = {
        name: value for name, value in values.items() if getattr(record, name) != value
    }
    before = described(record, *new)
    columns: list[str] = []
    for name, value in new.items():
        setattr(record, name, value)
        attribute = getattr(type(record), name, None)
        columns += (
            attribute.column_names if isinstance(attribute, QuantityField) else (name,)
        )
    if columns:
        _require_valid(record)
        record.save(update_fields=columns)
    return before, described(record, *new)


def described(record: models.Model, *names: str) -> dict[str, Any]:
    """Return values of a record as the audit keeps them: quantities as typed."""
    return {name: _plain(getattr(record, name)) for name in names}


def _plain(value: Any) -> Any:
    if isinstance(value, Quantity | models.Model):
        return str(value)
    return value


def _require_valid(record: models.Model) -> None:
    try:
        record.full_clean()
    except ValidationError as refusal:
        field, sentences = next(iter(refusal.message_dict.items()))
        raise NotAcceptable(
            " ".join(sentences), field=None if field == NON_FIELD_ERRORS else field
        ) from None
