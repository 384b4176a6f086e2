"""The structure of a certificate: who calibrated what, when, and what came out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from lab.common.errors import NotAcceptable
from lab.common.files.xml import parse_xml
from lab.equipment.dcc.quantities import DCC, Number, numbers_of
from lab.equipment.dcc.records import (
    AS_FOUND,
    AS_LEFT,
    Certificate,
    Correction,
    StatedTemperature,
    Value,
)
from lab.equipment.dcc.signing import signature_of
from lab.equipment.dcc.units import (
    ZERO_DEGC_IN_K,
    conversion_of,
    plain,
)

READABLE_MAJORS: Final = ("2", "3")
MOST_VALUES: Final = 2000
REFERENCE, MEASURED = "basic_referenceValue", "basic_measuredValue"
ERROR: Final = "basic_measurementError"
CONDITIONS: Final = f"{DCC}influenceConditions/{DCC}influenceCondition"
#: Roles in which a number in kelvin is a difference, not a temperature.
DIFFERENCES: Final = ("error", "deviation", "correction", "uncertainty")


class NotACertificate(NotAcceptable):
    """The file is XML, but no digital calibration certificate that can be read."""


def read_dcc(blob: bytes, *, now: datetime) -> Certificate:
    """Read a digital calibration certificate of schema version 2 or 3.

    Parameters
    ----------
    blob : bytes
        The file.
    now : datetime
        When it is read: a signer's certificate is judged by it.

    Raises
    ------
    BadXml
        If it is no XML that may be read.
    NotACertificate
        If it is another document, of another version, or lacks its own identity,
        its day or any result.
    Altered
        If it is signed and was changed since.
    """
    root = parse_xml(blob).getroot()
    version = _version(root)
    core = _required(root, f"{DCC}administrativeData/{DCC}coreData", "core data")
    signature = signature_of(blob, root, now)
    results = root.findall(f"{DCC}measurementResults/{DCC}measurementResult")
    values = [value for result in results for value in _values(result)]
    if not values:
        raise NotACertificate(
            "The certificate holds no measured number that can be read.", field="file"
        )
    if len(values) > MOST_VALUES:
        raise NotACertificate(
            f"The certificate states {len(values)} values; {MOST_VALUES} are the most "
            "that is taken.",
            field="file",
        )
    return Certificate(
        schema_version=version,
        identifier=_text(_required(core, f"{DCC}uniqueIdentifier", "identifier")),
        calibrated_on=_day(core, "endPerformanceDate", "beginPerformanceDate"),
        issued_on=_day(core, "issueDate", required=False),
        laboratory=_laboratory(root),
        item=_item(root),
        serials=tuple(_serials(root)),
        conformity=_conformity(root),
        values=tuple(values),
        corrections=tuple(
            correction for result in results for correction in _corrections(result)
        ),
        temperatures=tuple(_temperatures(results)),
        signature=signature,
    )


def _version(root: Any) -> str:
    if root.tag != f"{DCC}digitalCalibrationCertificate":
        raise NotACertificate(
            "This is XML, but no digital calibration certificate: its outermost "
            "element is another.",
            field="file",
        )
    version = str(root.get("schemaVersion", ""))
    if version.partition(".")[0] not in READABLE_MAJORS:
        raise NotACertificate(
            f"The certificate is of schema version “{version[:20]}”; versions 2 and 3 "
            "can be read. Type its values in by hand.",
            field="file",
        )
    return version


# --- Who, what and when ---------------------------------------------------------------


def _required(parent: Any, path: str, name: str) -> Any:
    found = parent.find(path)
    if found is None:
        raise NotACertificate(f"The certificate has no {name}.", field="file")
    return found


def _text(element: Any) -> str:
    return " ".join((element.text or "").split())[:200] if element is not None else ""


def _named(parent: Any, path: str = "") -> str:
    """Return the content of a name: in English if there is any, else the first."""
    contents = parent.findall(f"{path}{DCC}name/{DCC}content")
    english = [one for one in contents if one.get("lang") == "en"]
    return _text(next(iter(english or contents), None))


def _day(core: Any, *names: str, required: bool = True) -> str:
    for name in names:
        said = _text(core.find(f"{DCC}{name}"))
        if said:
            return _checked_day(said)
    if required:
        raise NotACertificate(
            "The certificate doesn't say on which day it was measured.", field="file"
        )
    return ""


def _checked_day(said: str) -> str:
    try:
        return date.fromisoformat(said[:10]).isoformat()
    except ValueError:
        raise NotACertificate(
            f"The certificate gives “{said[:20]}” for a day.", field="file"
        ) from None


def _laboratory(root: Any) -> str:
    path = f"{DCC}administrativeData/{DCC}calibrationLaboratory/{DCC}contact/"
    return _named(root, path)


def _item(root: Any) -> str:
    return _named(root, f"{DCC}administrativeData/{DCC}items/{DCC}item/")


def _serials(root: Any) -> Iterator[str]:
    """Yield the marks of the item, so that a person sees that it is the device."""
    path = (
        f"{DCC}administrativeData/{DCC}items/{DCC}item/{DCC}identifications/"
        f"{DCC}identification/{DCC}value"
    )
    for value in root.findall(path)[:20]:
        if said := _text(value):
            yield said


def _conformity(root: Any) -> str:
    path = f"{DCC}administrativeData/{DCC}statements/{DCC}statement/{DCC}conformity"
    return _text(root.find(path))


# --- What came out --------------------------------------------------------------------


def _values(result: Any) -> Iterator[Value]:
    for moment, part in _parts(result):
        heading = _named(part)
        for quantity in _quantities(part):
            role = str(quantity.get("refType", ""))
            name = _named(quantity)
            found = numbers_of(quantity)
            for place, number in enumerate(found, start=1):
                label = number.label or name or heading or "Value"
                if len(found) > 1 and not number.label:
                    label = f"{label} {place}"
                yield _value(label[:80], moment, role, number)


def _parts(result: Any) -> Iterator[tuple[str, Any]]:
    """Yield what holds results, each with whether the item was so found or so left.

    What was found before an adjustment stands among the conditions of what was left.
    """
    for condition in result.findall(CONDITIONS):
        state = _text(condition.find(f"{DCC}status"))
        if _is_adjustment(condition) and state.startswith("before"):
            yield AS_FOUND, condition
    for one in result.findall(f"{DCC}results/{DCC}result"):
        yield AS_LEFT, one


def _is_adjustment(condition: Any) -> bool:
    return "adjustment" in str(condition.get("refType", "")).casefold()


def _quantities(result: Any) -> Iterable[Any]:
    """Return the quantities of a result, without those of its metadata."""
    data = result.find(f"{DCC}data")
    return () if data is None else _below(data)


def _below(parent: Any) -> Iterator[Any]:
    for child in parent:
        if child.tag == f"{DCC}quantity":
            yield child
        elif child.tag == f"{DCC}list":
            yield from _below(child)


def _value(label: str, moment: str, role: str, number: Number) -> Value:
    unit, value, u = _in_our_unit(number, role)
    return Value(
        label=label,
        moment=moment,
        role=role,
        text=plain(value),
        unit=unit,
        unit_as_written=number.unit,
        expanded_u_text="" if u is None else plain(u),
        coverage_factor_text=_optional(number.coverage_factor),
    )


def _in_our_unit(number: Number, role: str) -> tuple[str, Decimal, Decimal | None]:
    """Return a number in a unit of ours, and its uncertainty in the same."""
    conversion = conversion_of(number.unit)
    if conversion is None:
        return "", number.value, number.expanded_u
    value = number.value * conversion.factor
    u = None if number.expanded_u is None else number.expanded_u * conversion.factor
    is_difference = any(word in role.casefold() for word in DIFFERENCES)
    if conversion.unit == "K" and not is_difference:
        return "°C", value - ZERO_DEGC_IN_K, u
    if conversion.unit == "°C" and is_difference:
        return "K", value, u
    return conversion.unit, value, u


def _optional(value: Decimal | None) -> str:
    return "" if value is None else plain(value)


# --- A sensor's corrections -----------------------------------------------------------


def _corrections(result: Any) -> Iterator[Correction]:
    """Yield reference minus reading, for each table that has both.

    The uncertainty is that of the error if the table has one, else of the reading.
    """
    for moment, part in _parts(result):
        for table in part.iter(f"{DCC}list"):
            yield from _corrections_in(table, moment)


def _corrections_in(table: Any, moment: str) -> Iterator[Correction]:
    columns = {
        str(quantity.get("refType", "")).split(" ")[0]: _temperatures_of(quantity)
        for quantity in table.findall(f"{DCC}quantity")
    }
    reference = columns.get(REFERENCE, [])
    read = columns.get(MEASURED, [])
    stated = _first_with_u(columns.get(ERROR, []), read, reference)
    if not reference or not len(reference) == len(read) == len(stated):
        return
    for true, shown, number in zip(reference, read, stated, strict=True):
        yield Correction(
            moment=moment,
            reading_degc_text=plain(shown.value),
            correction_k_text=plain(true.value - shown.value),
            expanded_u_k_text=_optional(number.expanded_u),
            coverage_factor_text=_optional(number.coverage_factor),
        )


def _temperatures_of(quantity: Any) -> list[Number]:
    """Return the numbers of a quantity in °C, or differences in kelvin, else none."""
    role = str(quantity.get("refType", ""))
    found = []
    for number in numbers_of(quantity):
        unit, value, u = _in_our_unit(number, role)
        if unit not in {"°C", "K"}:
            return []
        found.append(Number(value, unit, u, number.coverage_factor))
    return found


def _first_with_u(*columns: Sequence[Number]) -> Sequence[Number]:
    for column in columns:
        if column and all(number.expanded_u is not None for number in column):
            return column
    return ()


# --- At which temperature -------------------------------------------------------------


def _temperatures(results: Sequence[Any]) -> Iterator[StatedTemperature]:
    """Yield each temperature among the conditions, for a person to choose from."""
    seen: set[StatedTemperature] = set()
    for result in results:
        for condition in result.findall(CONDITIONS):
            for stated in _stated_in(condition):
                if stated not in seen:
                    seen.add(stated)
                    yield stated


def _stated_in(condition: Any) -> Iterator[StatedTemperature]:
    if _is_adjustment(condition):
        return
    heading = _named(condition)
    for quantity in _quantities(condition):
        words = ", ".join(filter(None, (heading, _named(quantity))))
        for number in _temperatures_of(quantity):
            if number.unit == "°C":
                yield StatedTemperature(words, plain(number.value))
