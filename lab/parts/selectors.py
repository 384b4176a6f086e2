"""What the records say of parts."""

from __future__ import annotations

from django.db.models import QuerySet

from lab.parts.models import Part, PartRevision


def revisions_in_force(part: Part | None = None) -> QuerySet[PartRevision]:
    """Return the revisions that no correction supersedes, newest first."""
    rows = PartRevision.objects.filter(superseded_by=None)
    if part is not None:
        rows = rows.filter(part=part)
    return rows.select_related("part__customer").order_by("-pk")


def newest_revision(part: Part) -> PartRevision | None:
    """Return the revision of a part that was recorded last."""
    return revisions_in_force(part).first()
