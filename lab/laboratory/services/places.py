"""Sites and rooms: added, changed, taken out of use; never deleted."""

from __future__ import annotations

from typing import Any

from lab.common import audit
from lab.common.actors import Actor
from lab.common.errors import WrongState
from lab.common.services import service
from lab.common.texts import refuse_placeholder, text_lines
from lab.laboratory.climate import LIMIT_NAMES, Limits
from lab.laboratory.models import Laboratory, Room, Site
from lab.laboratory.records import change, described, insert
from lab.laboratory.zones import require_zone


@service(may="laboratory.change")
def add_site(
    *,
    name: str,
    address: str,
    time_zone: str,
    kind: str = Site.Kind.PERMANENT,
    acting_user: Actor,
) -> Site:
    """Add a place of work: the lab's own, or a temporary one.

    Raises
    ------
    NotAcceptable
        If the name is taken, a text isn't fit to be printed, or there is no such
        time zone.
    """
    columns = _site_columns(name, address, time_zone, kind)
    site = insert(Site(**columns))
    audit.record("site.added", site, actor=acting_user, after=described(site, *columns))
    return site


@service(may="laboratory.change")
def change_site(
    *,
    site: Site,
    name: str,
    address: str,
    time_zone: str,
    kind: str,
    in_use: bool,
    acting_user: Actor,
) -> Site:
    """Change a site, or take it out of use.

    Raises
    ------
    NotAcceptable
        As :func:`add_site` does.
    WrongState
        If it is taken out of use while a room of it is in use.
    """
    site = Site.objects.select_for_update().get(pk=site.pk)
    if not in_use and site.in_use and site.rooms.filter(in_use=True).exists():
        raise WrongState(
            "Rooms of this site are still in use. Take them out of use first.",
            field="in_use",
        )
    columns = _site_columns(name, address, time_zone, kind) | {"in_use": in_use}
    before, after = change(site, **columns)
    if not after:
        audit.nothing_changed()
        return site
    audit.record("site.changed", site, actor=acting_user, before=before, after=after)
    return site


@service(may="laboratory.change")
def add_room(*, site: Site, name: str, limits: Limits, acting_user: Actor) -> Room:
    """Add a room to a site, with the limits inside which it may be measured in.

    Raises
    ------
    NotAcceptable
        If the site has a room of this name, or the name isn't fit to be printed.
    WrongState
        If the site is out of use.
    """
    if not Site.objects.select_for_update().get(pk=site.pk).in_use:
        raise WrongState("This site is out of use. Take it into use again first.")
    room = insert(
        Room(site=site, name=refuse_placeholder(name, "name"), **limits.columns())
    )
    audit.record(
        "room.added",
        room,
        actor=acting_user,
        after=described(room, "site", "name", *LIMIT_NAMES),
    )
    return room


@service(may="laboratory.change")
def change_room(
    *,
    room: Room,
    name: str,
    limits: Limits,
    in_use: bool,
    reason: str = "",
    acting_user: Actor,
) -> Room:
    """Change a room's name or limits, or take it out of use.

    Raises
    ------
    NotAcceptable
        As :func:`add_room` does.
    WrongState
        If it is taken into use while its site is out of use.
    """
    room = Room.objects.select_for_update(of=("self",)).get(pk=room.pk)
    if in_use and not room.site.in_use:
        raise WrongState("The room's site is out of use.", field="in_use")
    name = refuse_placeholder(name, "name")
    before, after = change(room, name=name, in_use=in_use, **limits.columns())
    if not after:
        audit.nothing_changed()
        return room
    audit.record(
        "room.changed",
        room,
        actor=acting_user,
        reason=reason,
        before=before,
        after=after,
    )
    return room


def _site_columns(name: str, address: str, time_zone: str, kind: str) -> dict[str, Any]:
    return {
        "name": refuse_placeholder(name, "name"),
        "address": text_lines(address, "address", most=Laboratory.ADDRESS_LINES),
        "time_zone": require_zone(time_zone),
        "kind": kind,
    }
