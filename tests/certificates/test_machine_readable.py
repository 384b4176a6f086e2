"""The certificate for machines: valid to its schemas, and the same as on paper."""

from __future__ import annotations

import io
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from pypdf import PdfReader

from lab.certificates.documents.dcc import certificate_xml
from lab.certificates.documents.qif import results_qif
from lab.certificates.documents.rendering import document_of
from tests.certificates.drawn import EXAMPLE, example

SPACES = {
    "dcc": "https://ptb.de/dcc",
    "si": "https://ptb.de/si",
    "q": "http://qifstandards.org/xsd/qif3",
}


def found(xml: bytes, path: str) -> list[Any]:
    return etree.fromstring(xml).xpath(path, namespaces=SPACES)


def numbers(xml: bytes, path: str) -> list[Decimal]:
    texts = found(xml, f"{path}/text()")
    return [Decimal(word) for text in texts for word in text.split()]


MEASURED = (
    "//dcc:quantity[@refType='basic_measuredValue']/si:realListXMLList/si:valueXMLList"
)


class Offline(etree.Resolver):
    """Answers every import of a schema from the folder of schemas."""

    def __init__(self, *folders: Path) -> None:
        self.folders = folders

    def resolve(self, url: str, _id: Any, context: Any) -> Any:
        for folder in self.folders:
            path = folder / url.rsplit("/", 1)[-1]
            if path.exists():
                return self.resolve_filename(str(path), context)
        raise AssertionError(f"{url} is not among the schemas.")


def schema_in(*folders: Path, name: str) -> etree.XMLSchema:
    parser = etree.XMLParser()
    parser.resolvers.add(Offline(*folders))
    return etree.XMLSchema(etree.parse(str(folders[0] / name), parser))


@pytest.fixture
def schema(shared_data) -> etree.XMLSchema:
    folder = shared_data("dcc/xsd")
    return schema_in(folder / "3.3.0", folder / "common", name="dcc.xsd")


@pytest.fixture
def qif_schema(shared_data) -> etree.XMLSchema:
    folder = shared_data("qif/xsd")
    return schema_in(
        folder / "QIFApplications", folder / "QIFLibrary", name="QIFDocument.xsd"
    )


def _replacement(snapshot: dict[str, Any]) -> None:
    snapshot["change"]["kind"] = "replacement"


def _first_issue(snapshot: dict[str, Any]) -> None:
    snapshot["change"] = None


def _no_verdicts(snapshot: dict[str, Any]) -> None:
    snapshot["conformity"] = None
    for group in snapshot["results"]:
        for row in group["rows"]:
            row["verdict"] = ""


def _bare(snapshot: dict[str, Any]) -> None:
    snapshot["conditions"]["rooms"] = []
    snapshot["traceability"]["standards"] = []
    snapshot["customer"]["contact_email"] = snapshot["customer"]["contact_phone"] = ""


@pytest.mark.parametrize(
    "change",
    [dict.copy, _replacement, _first_issue, _no_verdicts, _bare],
    ids=["whole", "replacement", "first", "no verdicts", "bare"],
)
def test_it_is_valid_to_the_schema(schema: etree.XMLSchema, change) -> None:
    snapshot = example()
    change(snapshot)
    schema.assertValid(etree.fromstring(certificate_xml(snapshot)))


def test_it_says_what_the_paper_says() -> None:
    snapshot = example()
    xml = certificate_xml(snapshot)
    rows = [row for group in snapshot["results"] for row in group["rows"]]
    assert sorted(numbers(xml, MEASURED)) == sorted(
        Decimal(row["value"].replace("−", "-")) for row in rows
    )
    assert sorted(numbers(xml, "//si:valueExpandedMUXMLList")) == sorted(
        Decimal(row["expanded_u"]) for row in rows
    )
    verdicts = " ".join(found(xml, "//dcc:conformityXMLList/text()")).split()
    assert len(verdicts) == len(rows)
    assert verdicts.count("conditionalFail") == 2
    assert found(xml, "//dcc:uniqueIdentifier/text()") == ["SD-2026-0042"]
    assert found(xml, "//dcc:typeOfChange/text()") == ["amended"]
    assert found(xml, "//dcc:replacedUniqueIdentifier/text()") == ["SD-2026-0041"]


def test_the_quantities_of_a_list_are_as_long_as_each_other() -> None:
    for one in found(certificate_xml(example()), "//dcc:list"):
        lists = one.xpath(
            ".//si:valueXMLList | .//si:valueExpandedMUXMLList | .//dcc:charsXMLList"
            " | .//dcc:conformityXMLList",
            namespaces=SPACES,
        )
        assert len({len(found.text.split()) for found in lists}) == 1


def test_inches_are_written_as_millimetres_exactly() -> None:
    snapshot = example()
    row = snapshot["results"][0]["rows"][0]
    row |= {"unit": "in", "value": "39.3701", "expanded_u": "0.0016"}
    xml = certificate_xml(snapshot)
    assert Decimal("1000.00054") in numbers(xml, MEASURED)
    assert Decimal("0.04064") in numbers(xml, "//si:valueExpandedMUXMLList")


def test_without_a_country_there_is_none() -> None:
    snapshot = example()
    snapshot["laboratory"]["country"] = ""
    assert certificate_xml(snapshot) is None
    pdf = PdfReader(io.BytesIO(document_of(json.dumps(snapshot))))
    assert not any(name.endswith("dcc.xml") for name in pdf.attachments)


def test_it_is_inside_the_document() -> None:
    pdf = PdfReader(io.BytesIO(document_of(EXAMPLE.read_text())))
    (inside,) = pdf.attachments["SD-2026-0042-dcc.xml"]
    assert inside == certificate_xml(example())


# --- QIF ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change", [dict.copy, _no_verdicts], ids=["whole", "no verdicts"]
)
def test_the_results_are_valid_to_the_schema_of_qif(qif_schema, change) -> None:
    snapshot = example()
    change(snapshot)
    qif_schema.assertValid(etree.fromstring(results_qif(snapshot)))


def test_qif_says_what_the_paper_says() -> None:
    snapshot = example()
    qif = results_qif(snapshot)
    rows = [row for group in snapshot["results"] for row in group["rows"]]
    values = found(qif, "//q:CharacteristicMeasurements/*/q:Value")
    assert [Decimal(one.text) for one in values] == [
        Decimal(row["value"].replace("−", "-")) for row in rows
    ]
    assert [Decimal(one.get("combinedUncertainty")) for one in values] == [
        Decimal(row["expanded_u"]) / Decimal(row["coverage_factor"]) for row in rows
    ]
    statuses = found(qif, "//q:CharacteristicStatusEnum/text()")
    assert statuses.count("PASS") == 9
    assert statuses.count("INDETERMINATE") == 5
    serials = found(qif, "//q:SerialNumber/text()")
    assert serials == ["RR-HA-0417", "RR-HA-0418"]


def test_each_characteristic_stands_in_qif_once_with_its_limits() -> None:
    qif = results_qif(example())
    names = found(qif, "//q:CharacteristicItems/*/q:Name/text()")
    assert len(names) == len(set(names)) == len(example()["results"][0]["rows"])
    first = found(qif, "//q:CharacteristicDefinitions/*[1]/q:Tolerance/*/text()")
    assert first == ["1000.100", "999.900", "true"]


def test_without_a_number_there_is_no_qif() -> None:
    snapshot = example()
    for group in snapshot["results"]:
        for row in group["rows"]:
            row["value"] = ""
    assert results_qif(snapshot) is None
    assert certificate_xml(snapshot) is None
