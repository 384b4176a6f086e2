"""What decides how fast an item takes up the room's temperature."""

from __future__ import annotations

from dataclasses import dataclass

from lab.accounts.models import User
from lab.common import audit
from lab.common.errors import NotAcceptable
from lab.common.services import service
from lab.jobs.models import ItemBody, JobItem
from lab.metrology.errors import MetrologyError
from lab.metrology.soak import Body, wall_surface
from lab.metrology.thermal import material
from lab.metrology.units import Quantity


@dataclass(frozen=True, slots=True)
class BodyEntry:
    """Mass, handbook material, and the surface or the thickness of the walls."""

    mass: Quantity
    stuff: str
    surface: Quantity | None = None
    wall: Quantity | None = None

    def body(self) -> Body:
        """Return it as the computation wants it.

        Raises
        ------
        NotAcceptable
            If both or neither of surface and wall are given, the material is in no
            table, or no body is like that.
        """
        if (self.surface is None) == (self.wall is None):
            raise NotAcceptable(
                "Give the surface or the thickness of the walls, and not both.",
                field="wall",
            )
        try:
            line = material(self.stuff)
        except MetrologyError as refusal:
            raise NotAcceptable(str(refusal), field="stuff") from None
        mass_kg = float(self.mass.value)
        try:
            surface_m2 = (
                float(self.surface.value)
                if self.surface is not None
                else wall_surface(
                    mass_kg,
                    line.density_kg_per_m3,
                    float(self.wall.value if self.wall else 0),
                )
            )
            return Body(
                mass_kg,
                surface_m2,
                line.density_kg_per_m3,
                line.heat_capacity_j_per_kg_k,
                line.conductivity_w_per_m_k,
            )
        except MetrologyError as refusal:
            field = "surface" if self.surface is not None else "wall"
            raise NotAcceptable(str(refusal), field=field) from None

    @classmethod
    def of(cls, record: ItemBody) -> BodyEntry:
        return cls(record.mass, record.stuff, record.surface, record.wall)


@service(may="jobs.receive")
def record_item_body(*, item: JobItem, body: BodyEntry, acting_user: User) -> ItemBody:
    """Record what an item is as a lump of heat; the newest record counts.

    Raises
    ------
    NotAcceptable
        See :meth:`BodyEntry.body`.
    """
    body.body()
    newest = item.bodies.order_by("-pk").first()
    if newest is not None and BodyEntry.of(newest) == body:
        audit.nothing_changed()
        return newest
    made = ItemBody.objects.create(
        item=item,
        stuff=body.stuff,
        recorded_by=acting_user,
        **ItemBody.mass.columns(body.mass),
        **ItemBody.surface.columns(body.surface),
        **ItemBody.wall.columns(body.wall),
    )
    audit.record(
        "item.body_recorded",
        item,
        actor=acting_user,
        after={
            "mass": str(body.mass),
            "material": body.stuff,
            "surface": str(body.surface or ""),
            "wall": str(body.wall or ""),
        },
    )
    return made
