"""Insert-only records: the first of the three fences around them.

A frozen model refuses every change through the ORM. The second fence is PROTECT
on each key that points at it; the third, triggers in the database, is in
:mod:`lab.common.fences`. A correction is a new row that supersedes the old one.
"""

from __future__ import annotations

from typing import Any, NoReturn, TypeVar

from django.apps import apps
from django.db import models

Record = TypeVar("Record", bound=models.Model)


class FrozenRecordChange(TypeError):
    """Code tried to change or delete a record that is kept as it was written."""

    def __init__(self, model: type[models.Model]) -> None:
        super().__init__(
            f"{model._meta.label} is insert-only: write a new row that supersedes it."
        )


class FrozenQuerySet(models.QuerySet[Record]):
    """A queryset that reads and inserts, and refuses the rest."""

    def update(self, **kwargs: Any) -> NoReturn:
        raise FrozenRecordChange(self.model)

    def delete(self) -> NoReturn:
        raise FrozenRecordChange(self.model)

    def bulk_update(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise FrozenRecordChange(self.model)

    def bulk_create(self, objs: Any, *args: Any, **kwargs: Any) -> list[Record]:
        if kwargs.get("update_conflicts"):
            raise FrozenRecordChange(self.model)
        return super().bulk_create(objs, *args, **kwargs)


class FrozenModel(models.Model):
    """Base of insert-only records; children write ``class Meta(FrozenModel.Meta)``."""

    objects = FrozenQuerySet.as_manager()

    class Meta:
        abstract = True
        base_manager_name = "objects"
        default_manager_name = "objects"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise FrozenRecordChange(type(self))
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise FrozenRecordChange(type(self))


def frozen_models() -> list[type[models.Model]]:
    """Return every concrete frozen model of the project, in a fixed order."""
    return sorted(
        (model for model in apps.get_models() if issubclass(model, FrozenModel)),
        key=lambda model: model._meta.db_table,
    )
