"""Which rooms and readings a person sees: the lab all, a client none."""

from __future__ import annotations

from django.db.models import QuerySet
from django.http import Http404

from lab.accounts.models import User
from lab.environment.models import (
    Excursion,
    LoggerToken,
    ReadingImport,
    SpotReading,
)
from lab.environment.sensors import SENSORS
from lab.equipment.models import Device
from lab.laboratory.models import Room


def rooms_for(user: User) -> QuerySet[Room]:
    rows = Room.objects.select_related("site")
    return rows if user.may("environment.see") else rows.none()


def get_room_for(user: User, pk: int) -> Room:
    found = rooms_for(user).filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such room.")
    return found


def get_reading_for(user: User, pk: int) -> SpotReading:
    rows = SpotReading.objects.filter(pk=pk, room__in=rooms_for(user))
    found = rows.select_related("room__site", "sensor").first()
    if found is None:
        raise Http404("There is no such reading.")
    return found


def get_excursion_for(user: User, pk: int) -> Excursion:
    rows = Excursion.objects.filter(pk=pk, room__in=rooms_for(user))
    found = rows.select_related("room__site", "sensor").first()
    if found is None:
        raise Http404("There is no such excursion.")
    return found


def imports_for(user: User) -> QuerySet[ReadingImport]:
    rows = ReadingImport.objects.select_related("file", "source", "uploaded_by")
    return rows if user.may("environment.see") else rows.none()


def get_import_for(user: User, pk: int) -> ReadingImport:
    found = imports_for(user).filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such import.")
    return found


def sensors_for(user: User) -> QuerySet[Device]:
    rows = Device.objects.filter(kind__in=SENSORS)
    return rows if user.may("environment.see") else rows.none()


def tokens_for(user: User) -> QuerySet[LoggerToken]:
    rows = LoggerToken.objects.select_related("sensor", "created_by")
    return rows if user.may("loggers.connect") else rows.none()


def get_token_for(user: User, pk: int) -> LoggerToken:
    found = tokens_for(user).filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such key.")
    return found
