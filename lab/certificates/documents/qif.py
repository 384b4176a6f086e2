"""The results of a certificate in QIF 3.0 (ISO 23952), from its snapshot alone.

The characteristics are user-defined ones: a certificate holds what was measured in
words and numbers, not the geometry that the format's own kinds lean on. Lengths are in
millimetres, angles in degrees; uncertainties are standard ones, as the format has them.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from lxml import etree
from lxml.builder import ElementMaker

from lab.certificates.snapshot.reading import instant_of_issue

QIF: Final = "http://qifstandards.org/xsd/qif3"
Q = ElementMaker(
    namespace=QIF,
    nsmap={None: QIF},
    typemap={list: lambda parent, parts: parent.extend(parts)},
)
#: Units as printed, the format's word for their kind, and how many base units one is.
UNITS: Final = {
    "mm": ("Linear", Decimal(1)),
    "µm": ("Linear", Decimal("0.001")),
    "in": ("Linear", Decimal("25.4")),
    "°": ("Angular", Decimal(1)),
}
#: A conditional verdict, and one that proves nothing, is neither of the format's two.
STATUSES: Final = {
    "pass": "PASS",
    "fail": "FAIL",
    "conditional pass": "INDETERMINATE",
    "conditional fail": "INDETERMINATE",
    "conformity proven": "PASS",
    "nonconformity proven": "FAIL",
    "neither conformity nor nonconformity proven": "INDETERMINATE",
    "": "NOT_ANALYZED",
}
#: Of one part or all, the worst of its characteristics' statuses.
WORST_FIRST: Final = ("FAIL", "INDETERMINATE", "NOT_ANALYZED", "PASS")
INSPECTED: Final = {"PASS": "PASS", "FAIL": "FAIL"}
#: A millimetre in metres, a degree in radians.
MILLIMETRE, DEGREE = "0.001", "0.017453292519943295"


@dataclass(slots=True)
class Document:
    """The parts of a document while it is put together; ids count up."""

    last: int = 0
    definitions: list[etree._Element] = field(default_factory=list)
    nominals: list[etree._Element] = field(default_factory=list)
    items: list[etree._Element] = field(default_factory=list)
    results: list[etree._Element] = field(default_factory=list)
    components: list[etree._Element] = field(default_factory=list)

    def next(self) -> str:
        self.last += 1
        return str(self.last)


def results_qif(snapshot: dict[str, Any]) -> bytes | None:
    """Return the stated results as a QIF document; None where none has a number."""
    document = Document()
    standard, part, component = document.next(), document.next(), document.next()
    characteristics = _characteristics(document, snapshot)
    for group in snapshot["results"]:
        _measured(document, group, characteristics)
    if not document.results:
        return None
    root = Q.QIFDocument(
        Q.QPId(_identity(snapshot)),
        Q.Version(Q.TimeCreated(instant_of_issue(snapshot).isoformat())),
        _set("StandardsDefinitions", [_standard(standard)]),
        _units(),
        Q.Product(
            _set("PartSet", [Q.Part(Q.ModelNumber(_part(snapshot)), id=part)]),
            _set(
                "ComponentSet",
                [Q.Component(Q.Part(Q.Id(part)), id=component)],
            ),
        ),
        Q.Characteristics(
            Q.FormalStandardId(standard),
            _set("CharacteristicDefinitions", document.definitions),
            _set("CharacteristicNominals", document.nominals),
            _set("CharacteristicItems", document.items),
        ),
        Q.Results(
            _set("MeasurementResultsSet", document.results),
            _set(
                "ActualComponentSets",
                [_set("ActualComponentSet", document.components)],
            ),
        ),
        versionQIF="3.0.0",
        idMax=str(document.last),
    )
    return bytes(
        etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    )


def _identity(snapshot: dict[str, Any]) -> str:
    """Return the same identity for the same certificate, whenever it is written."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, snapshot["issue"]["authenticity_url"]))


def _part(snapshot: dict[str, Any]) -> str:
    return f"{snapshot['part']['number']} revision {snapshot['part']['revision']}"


def _standard(key: str) -> etree._Element:
    """Name the standard that drawings are read by (ISO 8015:2011; from memory)."""
    return Q.Standard(
        Q.Organization(Q.StandardsOrganizationEnum("ISO")),
        Q.Designator("8015"),
        Q.Year("2011"),
        id=key,
    )


def _units() -> etree._Element:
    def unit(tag: str, base: str, name: str, factor: str) -> etree._Element:
        conversion = Q.UnitConversion(Q.Factor(factor))
        return Q(tag, Q.SIUnitName(base), Q.UnitName(name), conversion)

    return Q.FileUnits(
        Q.PrimaryUnits(
            unit("AngularUnit", "radian", "degree", DEGREE),
            unit("LinearUnit", "meter", "mm", MILLIMETRE),
        )
    )


# --- What is asked ------------------------------------------------------------------


def _stated(group: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield the rows of an item that have a number in a unit of the format's."""
    return (row for row in group["rows"] if row["value"] and row["unit"] in UNITS)


def _characteristics(
    document: Document, snapshot: dict[str, Any]
) -> dict[str, tuple[str, str]]:
    """Add each characteristic once; return kind and item id by its number."""
    found: dict[str, tuple[str, str]] = {}
    for group in snapshot["results"]:
        for row in _stated(group):
            if row["number"] not in found:
                found[row["number"]] = _characteristic(document, row)
    return found


def _characteristic(document: Document, row: dict[str, Any]) -> tuple[str, str]:
    kind = UNITS[row["limits"]["unit"]][0]
    name = f"UserDefined{kind}Characteristic"
    definition, nominal, item = document.next(), document.next(), document.next()
    document.definitions.append(
        Q(
            f"{name}Definition",
            _tolerance(row["limits"]),
            Q.WhatToMeasure(f"{row['kind']}: {row['description']}"),
            id=definition,
        )
    )
    document.nominals.append(
        Q(f"{name}Nominal", Q.CharacteristicDefinitionId(definition), id=nominal)
    )
    document.items.append(
        Q(
            f"{name}Item",
            Q.Name(row["number"]),
            Q.CharacteristicNominalId(nominal),
            id=item,
        )
    )
    return kind, item


def _tolerance(limits: dict[str, str]) -> etree._Element:
    sides = [("MaxValue", limits["upper"]), ("MinValue", limits["lower"])]
    given = [Q(tag, text) for tag, text in sides if text]
    return Q.Tolerance(*given, Q.DefinedAsLimit("true"))


# --- What came out ------------------------------------------------------------------


def _measured(
    document: Document,
    group: dict[str, Any],
    characteristics: dict[str, tuple[str, str]],
) -> None:
    rows = list(_stated(group))
    if not rows:
        return
    results, component = document.next(), document.next()
    measurements = [
        _measurement(document, row, *characteristics[row["number"]]) for row in rows
    ]
    statuses = {STATUSES[row["verdict"]] for row in rows}
    worst = next(one for one in WORST_FIRST if one in statuses)
    status = INSPECTED.get(worst, "UNKNOWN")
    document.results.append(
        Q.MeasurementResults(
            Q.MeasuredCharacteristics(_set("CharacteristicMeasurements", measurements)),
            Q.InspectionStatus(Q.InspectionStatusEnum(status)),
            _set("ActualComponentIds", [Q.Id(component)]),
            id=results,
        )
    )
    document.components.append(
        Q.ActualComponent(
            Q.SerialNumber(group["serial"]),
            Q.Status(Q.InspectionStatusEnum(status)),
            id=component,
        )
    )


def _measurement(
    document: Document, row: dict[str, Any], kind: str, item: str
) -> etree._Element:
    factor = UNITS[row["unit"]][1]
    value = _decimal(row["value"]) * factor
    standard_u = _decimal(row["expanded_u"]) * factor / _decimal(row["coverage_factor"])
    return Q(
        f"UserDefined{kind}CharacteristicMeasurement",
        Q.Status(Q.CharacteristicStatusEnum(STATUSES[row["verdict"]])),
        Q.CharacteristicItemId(item),
        Q.Value(f"{value:f}", combinedUncertainty=f"{standard_u.normalize():f}"),
        id=document.next(),
    )


def _set(tag: str, members: Sequence[etree._Element]) -> etree._Element:
    return Q(tag, *members, n=str(len(members)))


def _decimal(printed: str) -> Decimal:
    return Decimal(printed.replace("−", "-"))
