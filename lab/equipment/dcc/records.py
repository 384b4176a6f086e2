"""What is read from a digital calibration certificate; also as JSON and back."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any, Final

AS_FOUND: Final = "as found"
AS_LEFT: Final = "as left"
#: A signature that fits the file; one whose certificate is over; one not checkable.
INTACT: Final = "intact"
EXPIRED: Final = "expired"
UNCHECKED: Final = "unchecked"
UNSIGNED: Final = "unsigned"


@dataclass(frozen=True, slots=True)
class Signature:
    """How a certificate is signed, and what that proves, in a sentence."""

    state: str
    words: str
    signer: str = ""


@dataclass(frozen=True, slots=True)
class StatedTemperature:
    """A temperature that the certificate states among its conditions."""

    words: str
    degc_text: str


@dataclass(frozen=True, slots=True)
class Value:
    """One value in a unit of ours, or with the file's own unit and none of ours.

    ``expanded_u_text`` is in the same unit, but kelvin for a temperature; it is empty
    where the certificate gives none.
    """

    label: str
    moment: str
    role: str
    text: str
    unit: str
    unit_as_written: str
    expanded_u_text: str
    coverage_factor_text: str


@dataclass(frozen=True, slots=True)
class Correction:
    """What is added to a sensor's reading at one calibrated point, in kelvin."""

    moment: str
    reading_degc_text: str
    correction_k_text: str
    expanded_u_k_text: str
    coverage_factor_text: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """What a digital calibration certificate states, as far as it concerns us."""

    schema_version: str
    identifier: str
    calibrated_on: str
    issued_on: str
    laboratory: str
    item: str
    serials: tuple[str, ...]
    conformity: str
    values: tuple[Value, ...]
    corrections: tuple[Correction, ...]
    temperatures: tuple[StatedTemperature, ...]
    signature: Signature

    def to_json(self) -> bytes:
        return json.dumps(asdict(self), ensure_ascii=False).encode()

    @classmethod
    def from_json(cls, blob: bytes) -> Certificate:
        """Return what :meth:`to_json` wrote."""
        told: dict[str, Any] = json.loads(blob)
        parts = {
            "serials": tuple(told["serials"]),
            "values": tuple(Value(**one) for one in told["values"]),
            "corrections": tuple(Correction(**one) for one in told["corrections"]),
            "temperatures": tuple(
                StatedTemperature(**one) for one in told["temperatures"]
            ),
            "signature": Signature(**told["signature"]),
        }
        return cls(**(told | parts))
