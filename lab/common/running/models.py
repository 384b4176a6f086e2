"""The mark of a demo's database."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel


class DemoMarker(FrozenModel):
    """The one row that makes a database a demo's, with the day it was filled for.

    The demo's history is counted back from this day, so that it doesn't move from
    one start to the next.
    """

    only = models.PositiveSmallIntegerField(default=1, unique=True, editable=False)
    anchor = models.DateField()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        app_label = "common"
        constraints = [
            models.CheckConstraint(condition=Q(only=1), name="demo_marker_one_row")
        ]

    def __str__(self) -> str:
        return f"demo of {self.anchor}"
