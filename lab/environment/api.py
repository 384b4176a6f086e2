"""The endpoint for loggers: readings in, each once, by a key of their own."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Final

import numpy as np
from django.http import HttpRequest, HttpResponse
from ninja import Field, NinjaAPI, Schema
from ninja.security import HttpBearer
from pydantic import AwareDatetime, model_validator

from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import DomainError
from lab.environment.keys import SentTooOften, count_use, token_shown
from lab.environment.models import LoggerToken
from lab.environment.sensors import EARLIEST_US, POSSIBLE
from lab.environment.services import store_readings
from lab.environment.times import instant_of, us_of

MOST_READINGS: Final = 10_000

#: What a field of a reading is: the quantity, and whether it comes in °F.
FIELDS: Final = {
    "temperature_degc": ("temperature", False),
    "temperature_degf": ("temperature", True),
    "humidity_percent": ("humidity", False),
}
Number = Annotated[float | None, Field(allow_inf_nan=False)]


class Reading(Schema):
    """What a logger showed at one instant; raw, as the sensor gave it."""

    model_config = {"extra": "forbid"}

    at: AwareDatetime = Field(
        description="ISO 8601 with its offset from UTC, such as 2026-07-31T15:40:00Z."
    )
    temperature_degc: Number = None
    temperature_degf: Number = Field(
        None, description="Instead of temperature_degc; kept in °C to the micro-kelvin."
    )
    humidity_percent: Number = Field(None, description="Relative humidity in percent.")

    @model_validator(mode="after")
    def say_something(self) -> Reading:
        """Refuse a reading without a value, or with its temperature said twice."""
        if self.temperature_degc is not None and self.temperature_degf is not None:
            raise ValueError("Give the temperature in °C or in °F, not in both.")
        if all(getattr(self, name) is None for name in FIELDS):
            raise ValueError("A reading holds a temperature, a humidity, or both.")
        return self


class Batch(Schema):
    """Readings of one logger, in any order."""

    model_config = {"extra": "forbid"}

    readings: list[Reading] = Field(min_length=1, max_length=MOST_READINGS)


class Refusal(Schema):
    """A value that was not kept, and why; the rest of the batch was."""

    position: int = Field(description="Of the reading in the batch, from 0.")
    field: str
    reason: str


class Answer(Schema):
    """What became of the batch's values: added + known + refused are all of them."""

    added: int
    known: int = Field(description="Kept already, with the same value.")
    refused: list[Refusal]


class Problem(Schema):
    """Why nothing was kept."""

    detail: str | list[Any]


class LoggerKey(HttpBearer):
    """A logger's own key, in the header ``Authorization: Bearer``."""

    def authenticate(self, request: HttpRequest, token: str) -> LoggerToken | None:
        return token_shown(token)


api = NinjaAPI(
    title="Readings of loggers",
    version="1",
    description="Loggers send what they measured. Sending the same again changes "
    "nothing; a value that is kept is never overwritten.",
    urls_namespace="readings-api",
    docs_url=None,
)
PROBLEMS: Final = dict.fromkeys((400, 401, 413, 422, 429), Problem)


@api.exception_handler(DomainError)
def refused(request: HttpRequest, refusal: DomainError) -> HttpResponse:
    answer = api.create_response(
        request, {"detail": refusal.sentence}, status=refusal.status
    )
    if isinstance(refusal, SentTooOften):
        answer["Retry-After"] = str(60 - int(clock.now().timestamp()) % 60)
    return answer


@api.post(
    "/readings",
    auth=LoggerKey(),
    response={200: Answer, **PROBLEMS},
    url_name="store",
    summary="Keep readings",
)
def store(request: HttpRequest, batch: Batch) -> Any:
    """Keep the readings of the logger whose key is shown."""
    token: LoggerToken = request.auth  # type: ignore[attr-defined]  # ninja sets it
    count_use(token)
    answer = Answer(added=0, known=0, refused=[])
    for field in FIELDS:
        _store_field(token, batch, field, answer)
    answer.refused.sort(key=lambda one: (one.position, one.field))
    return answer


def _store_field(token: LoggerToken, batch: Batch, field: str, answer: Answer) -> None:
    quantity, is_fahrenheit = FIELDS[field]
    latest = us_of(clock.now() + clock.TOLERATED_FUTURE)
    positions, times, values = [], [], []
    for position, reading in enumerate(batch.readings):
        value: float | None = getattr(reading, field)
        if value is None:
            continue
        if is_fahrenheit:
            value = round((value - 32.0) / 1.8, 6)
        reason = _refusal(us_of(reading.at), value, quantity, latest)
        if reason:
            refusal = Refusal(position=position, field=field, reason=reason)
            answer.refused.append(refusal)
            continue
        positions.append(position)
        times.append(us_of(reading.at))
        values.append(value)
    if not times:
        return
    stored = store_readings(
        sensor=token.sensor,
        quantity=quantity,
        times_us=np.array(times, np.int64),
        values=values,
        source=f"key “{token.name}”",
        acting_user=PROGRAM,
    )
    answer.added += stored.added
    answer.known += stored.repeated
    for one in stored.conflicts:
        place = next(
            i
            for i, us in enumerate(times)
            if us == one.time_us and values[i] == one.refused
        )
        reason = (
            f"{one.kept:g} is kept for {_iso(one.time_us)}; nothing is overwritten."
        )
        answer.refused.append(
            Refusal(position=positions[place], field=field, reason=reason)
        )


def _refusal(us: int, value: float, quantity: str, latest: int) -> str:
    """Return why a value can't be kept, or nothing."""
    lowest, highest = POSSIBLE[quantity]
    if not lowest <= value <= highest:
        return f"{value:g} does not lie from {lowest:g} to {highest:g}."
    if us > latest:
        return "The time lies in the future. Set the logger's clock."
    if us < EARLIEST_US:
        return "The time is before 2001. Set the logger's clock."
    return ""


def _iso(us: int) -> str:
    when: datetime = instant_of(us)
    return when.isoformat().replace("+00:00", "Z")
