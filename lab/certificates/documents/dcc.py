"""The certificate for machines: a digital calibration certificate, DCC 3.3.0.

Every value, limit and verdict is taken from the snapshot that the document prints.
One result for each item; in it one list for each unit and kind of limits, with the
quantities side by side. Schema: https://ptb.de/dcc/v3.3.0/dcc.xsd.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, Final

from lxml import etree
from lxml.builder import ElementMaker

DCC, SI = "https://ptb.de/dcc", "https://ptb.de/si"
LANGUAGE: Final = "en"
D = ElementMaker(
    namespace=DCC,
    nsmap={"dcc": DCC, "si": SI},
    typemap={list: lambda parent, parts: parent.extend(parts)},
)
S = ElementMaker(namespace=SI, nsmap={"si": SI})
#: Units as printed, as the format writes them, and how many of those one is.
UNITS: Final = {
    "mm": (r"\milli\metre", Decimal(1)),
    "µm": (r"\micro\metre", Decimal(1)),
    "in": (r"\milli\metre", Decimal("25.4")),
    "°": (r"\degree", Decimal(1)),
}
VERDICTS: Final = {
    "pass": "pass",
    "fail": "fail",
    "conditional pass": "conditionalPass",
    "conditional fail": "conditionalFail",
}
PLACES: Final = {"permanent": "laboratory"}
REF_TYPES: Final = "https://digilab.ptb.de/dkd/refType/vocab/"


def certificate_xml(snapshot: dict[str, Any]) -> bytes | None:
    """Return the certificate as DCC, or None where the format can't say it.

    That is so where the laboratory's country isn't recorded, which the format
    requires, or where no stated result has a number and a known unit.
    """
    results = [one for group in snapshot["results"] for one in _results(group)]
    if not snapshot["laboratory"].get("country") or not results:
        return None
    root = D.digitalCalibrationCertificate(
        _administration(snapshot),
        D.measurementResults(
            D.measurementResult(
                _name("name", snapshot["title"]),
                D.usedMethods(*_methods(snapshot)),
                D.usedSoftware(
                    *(_software(name) for name in snapshot["evaluation"]["software"])
                ),
                *_equipment(snapshot["traceability"]["standards"]),
                *_conditions(snapshot["conditions"]),
                D.results(*results),
            )
        ),
        schemaVersion="3.3.0",
    )
    return bytes(
        etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    )


# --- Who, what, when ----------------------------------------------------------------


def _administration(snapshot: dict[str, Any]) -> etree._Element:
    issue = snapshot["issue"]
    return D.administrativeData(
        D.dccSoftware(_software(f"Unbroken {issue['program_version']}")),
        D.refTypeDefinitions(
            D.refTypeDefinition(
                _name("name", "General terms"),
                D.namespace("basic"),
                D.link(REF_TYPES),
            )
        ),
        _core(snapshot),
        D("items", *(_item(i, one) for i, one in enumerate(snapshot["items"], 1))),
        D.calibrationLaboratory(
            _party("contact", snapshot["laboratory"], snapshot["laboratory"]["country"])
        ),
        D.respPersons(
            _person(issue["authorised_by"], "Authorised by", signs=True),
            _person(issue["reviewed_by"], "Reviewed by", signs=False),
        ),
        _party("customer", snapshot["customer"]),
        D.statements(*_statements(snapshot)),
    )


def _core(snapshot: dict[str, Any]) -> etree._Element:
    issue, days = snapshot["issue"], snapshot["measured_on"]["days"]
    kinds = {PLACES.get(place["kind"], "other") for place in snapshot["place_of_work"]}
    core = D.coreData(
        D.countryCodeISO3166_1(snapshot["laboratory"]["country"]),
        D.usedLangCodeISO639_1(LANGUAGE),
        D.mandatoryLangCodeISO639_1(LANGUAGE),
        D.uniqueIdentifier(issue["number"]),
        D.beginPerformanceDate(days[0] if days else issue["issued_on"]),
        D.endPerformanceDate(days[-1] if days else issue["issued_on"]),
        D.performanceLocation(kinds.pop() if len(kinds) == 1 else "other"),
        D.issueDate(issue["issued_on"]),
    )
    change = snapshot["change"]
    if change:
        amends = change["kind"] == "amendment"
        core.append(
            D.reportAmendedSubstituted(
                D.typeOfChange("amended" if amends else "substituted"),
                D.replacedUniqueIdentifier(change["number"]),
            )
        )
    return core


def _item(position: int, one: dict[str, str]) -> etree._Element:
    return D.item(
        _name("name", one["description"]),
        D.description(_content(one["condition"])),
        D.identifications(
            D.identification(
                D.issuer("customer"),
                D.value(one["serial"]),
                _name("name", "Serial number"),
                refType="basic_serialNumber",
            )
        ),
        id=f"item{position}",
    )


def _party(tag: str, party: dict[str, Any], country: str = "") -> etree._Element:
    reached = [D(name, party[key]) for name, key in _REACHED if party.get(key)]
    lines = [D.further(_content(line)) for line in party["address"]]
    where = [D.countryCode(country)] if country else []
    return D(tag, _name("name", party["name"]), *reached, D.location(*lines, *where))


_REACHED: Final = (
    ("eMail", "email"),
    ("eMail", "contact_email"),
    ("phone", "phone"),
    ("phone", "contact_phone"),
)


def _person(name: str, role: str, *, signs: bool) -> etree._Element:
    return D.respPerson(
        D.person(_name("name", name)),
        D.role(role),
        D.mainSigner("true" if signs else "false"),
    )


def _statements(snapshot: dict[str, Any]) -> list[etree._Element]:
    said = [*snapshot["statements"].values(), snapshot["traceability"]["statement"]]
    said += [snapshot["uncertainty"]["statement"], snapshot["deviations"]]
    if snapshot["change"]:
        said += [snapshot["change"]["statement"], snapshot["change"]["text"]]
    return [D.statement(D.declaration(_content(text))) for text in said if text]


# --- How ----------------------------------------------------------------------------


def _methods(snapshot: dict[str, Any]) -> Iterable[etree._Element]:
    yield D.usedMethod(_name("name", snapshot["method"]["text"]))
    conformity = snapshot["conformity"]
    if conformity:
        yield D.usedMethod(
            _name("name", f"Decision rule: {conformity['rule']}"),
            D.description(_content(conformity["rule_text"], conformity["risk"])),
            D.reference(conformity["specification"]),
        )


def _equipment(standards: Sequence[dict[str, Any]]) -> list[etree._Element]:
    if not standards:
        return []
    return [D.measuringEquipments(*(_standard(one) for one in standards))]


def _standard(one: dict[str, Any]) -> etree._Element:
    traced = [one["provider"], one["certificate_number"], one["calibrated_on"]]
    told = ", ".join(text for text in traced if text)
    return D.measuringEquipment(
        _name("name", f"{one['tag']} {one['name']}"),
        *([D.description(_content(f"Calibrated: {told}"))] if told else []),
        D.identifications(
            D.identification(
                D.issuer("manufacturer"),
                D.value(one["serial"]),
                refType="basic_serialNumber",
            )
        ),
    )


def _conditions(conditions: dict[str, Any]) -> list[etree._Element]:
    rows = [
        D.influenceCondition(
            _name("name", f"Air in {room['room']}, session {room['session']}"),
            D.data(D.text(_content(_air(room)))),
        )
        for room in conditions["rooms"]
        if room["temperature"]
    ]
    return [D.influenceConditions(*rows)] if rows else []


def _air(room: dict[str, str]) -> str:
    air = ", ".join(text for text in (room["temperature"], room["humidity"]) if text)
    return f"{air}; {room['from']} to {room['until']}"


# --- What came out --------------------------------------------------------------------


def _results(group: dict[str, Any]) -> list[etree._Element]:
    """Return one result for an item, or none where it has no number."""
    lists: dict[tuple[Any, ...], list[dict[str, Any]]] = {}
    for row in group["rows"]:
        if row["value"] and row["unit"] in UNITS:
            lists.setdefault(_alike(row), []).append(row)
    if not lists:
        return []
    return [
        D.result(
            _name("name", f"Results for {group['serial']}"),
            D.data(*(_list(rows) for rows in lists.values())),
        )
    ]


def _alike(row: dict[str, Any]) -> tuple[Any, ...]:
    """Return what rows must share to stand in one list."""
    limits = row["limits"]
    return (
        row["unit"],
        row["coverage_factor"],
        row["verdict"] in VERDICTS,
        bool(limits["lower"]),
        bool(limits["upper"]),
    )


def _list(rows: Sequence[dict[str, Any]]) -> etree._Element:
    first = rows[0]
    unit, factor = UNITS[first["unit"]]
    names = " ".join(re.sub(r"\s+", "_", row["number"]) for row in rows)
    about = "; ".join(f"{row['number']}: {row['description']}" for row in rows)
    measured = _numbers([_decimal(row["value"]) * factor for row in rows], unit)
    measured.append(
        S.measurementUncertaintyUnivariateXMLList(
            S.expandedMUXMLList(
                S.valueExpandedMUXMLList(
                    _joined(_decimal(row["expanded_u"]) * factor for row in rows)
                ),
                S.coverageFactorXMLList(first["coverage_factor"]),
                S.coverageProbabilityXMLList("0.95"),
            )
        )
    )
    return D(
        "list",
        D.description(_content(about)),
        D.quantity(_name("name", "Number on the drawing"), D.charsXMLList(names)),
        D.quantity(measured, *_conformity(rows), refType="basic_measuredValue"),
    )


def _conformity(rows: Sequence[dict[str, Any]]) -> list[etree._Element]:
    limits = [
        D.quantity(
            _numbers([Decimal(row["limits"][side]) for row in rows], unit),
            refType=f"basic_toleranceLimit{side.title()}",
        )
        for side in ("lower", "upper")
        if rows[0]["limits"][side]
        for unit, _ in (UNITS[rows[0]["limits"]["unit"]],)
    ]
    if rows[0]["verdict"] not in VERDICTS:
        return []
    return [
        D.measurementMetaData(
            D.metaData(
                D.conformityXMLList(" ".join(VERDICTS[row["verdict"]] for row in rows)),
                *([D.data(*limits)] if limits else []),
                refType="basic_conformity",
            )
        )
    ]


def _numbers(values: Sequence[Decimal], unit: str) -> etree._Element:
    return S.realListXMLList(S.valueXMLList(_joined(values)), S.unitXMLList(unit))


def _joined(values: Iterable[Decimal]) -> str:
    return " ".join(f"{value:f}" for value in values)


def _decimal(printed: str) -> Decimal:
    return Decimal(printed.replace("−", "-"))


# --- Texts ----------------------------------------------------------------------------


def _name(tag: str, text: str) -> etree._Element:
    return D(tag, _content(text)[0])


def _content(*texts: str) -> Any:
    return [D.content(" ".join(text.split()), lang=LANGUAGE) for text in texts if text]


def _software(said: str) -> etree._Element:
    """Name a program; where its version ends what was said of it, apart from that."""
    found = re.fullmatch(r"(.*\S)\s+(\S*\d\S*)", said)
    name, release = found.groups() if found else (said, "as named")
    return D.software(D.name(D.content(name)), D.release(release))
