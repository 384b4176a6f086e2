"""Digital calibration certificates of an invented laboratory, as small as can be."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from lxml import etree
from signxml import XMLSigner

NAMESPACES = 'xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si"'
NEW_U = (
    "<si:measurementUncertaintyUnivariate><si:expandedMU>"
    "<si:valueExpandedMU>{u}</si:valueExpandedMU>"
    "<si:coverageFactor>{k}</si:coverageFactor>"
    "</si:expandedMU></si:measurementUncertaintyUnivariate>"
)
OLD_U = (
    "<si:expandedUnc><si:uncertainty>{u}</si:uncertainty>"
    "<si:coverageFactor>{k}</si:coverageFactor></si:expandedUnc>"
)


def real(value: str, unit: str, u: str = "", k: str = "2", *, old: bool = False) -> str:
    stated = (OLD_U if old else NEW_U).format(u=u, k=k) if u else ""
    return (
        f"<si:real><si:value>{value}</si:value><si:unit>{unit}</si:unit>{stated}"
        "</si:real>"
    )


def hybrid(*forms: str) -> str:
    return f"<si:hybrid>{''.join(forms)}</si:hybrid>"


def listed(values: str, unit: str, u: str = "") -> str:
    stated = (
        "<si:expandedUncXMLList><si:uncertaintyXMLList>"
        f"{u}</si:uncertaintyXMLList><si:coverageFactorXMLList>2"
        "</si:coverageFactorXMLList></si:expandedUncXMLList>"
        if u
        else ""
    )
    return (
        f"<si:realListXMLList><si:valueXMLList>{values}</si:valueXMLList>"
        f"<si:unitXMLList>{unit}</si:unitXMLList>{stated}</si:realListXMLList>"
    )


def quantity(content: str, name: str = "Length A–B", role: str = "") -> str:
    attribute = f' refType="{role}"' if role else ""
    return (
        f"<dcc:quantity{attribute}><dcc:name><dcc:content>{name}</dcc:content>"
        f"</dcc:name>{content}</dcc:quantity>"
    )


def sensor_table() -> str:
    """Return a thermometer's table: reads 0.05 K too much, 0.02 K too little."""
    return (
        "<dcc:list>"
        + quantity(
            listed("288.15 298.15", r"\kelvin"), "Reference", "basic_referenceValue"
        )
        + quantity(
            listed("15.05 24.98", r"\degreecelsius"), "Reading", "basic_measuredValue"
        )
        + quantity(
            listed("0.05 -0.02", r"\kelvin", "0.04"), "Error", "basic_measurementError"
        )
        + "</dcc:list>"
    )


BAR_LENGTH = quantity(
    hybrid(
        real("1.2000463", r"\metre", "0.0000028"),
        real("1200.0463", r"\milli\metre", "0.0028"),
    )
)
AT_20 = (
    "<dcc:influenceConditions><dcc:influenceCondition><dcc:name><dcc:content>"
    "Temperature of the item</dcc:content></dcc:name><dcc:data>"
    + quantity(real("293.15", r"\kelvin"), "mean")
    + "</dcc:data></dcc:influenceCondition></dcc:influenceConditions>"
)


def certificate(
    results: str = BAR_LENGTH,
    *,
    version: str = "3.3.0",
    conditions: str = AT_20,
    identifier: str = "HC-2026-0117",
    day: str = "2026-03-02",
    serial: str = "ST-1188",
) -> bytes:
    """Return a certificate of the Headland service."""
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<dcc:digitalCalibrationCertificate {NAMESPACES} schemaVersion="{version}">
<dcc:administrativeData><dcc:coreData>
<dcc:uniqueIdentifier>{identifier}</dcc:uniqueIdentifier>
<dcc:beginPerformanceDate>{day}</dcc:beginPerformanceDate>
<dcc:endPerformanceDate>{day}</dcc:endPerformanceDate>
</dcc:coreData><dcc:items><dcc:item><dcc:name><dcc:content>Steel bar</dcc:content>
</dcc:name><dcc:identifications><dcc:identification>
<dcc:issuer>manufacturer</dcc:issuer><dcc:value>{serial}</dcc:value>
</dcc:identification></dcc:identifications></dcc:item></dcc:items>
<dcc:calibrationLaboratory><dcc:contact><dcc:name><dcc:content>Headland Calibration
Service</dcc:content></dcc:name></dcc:contact></dcc:calibrationLaboratory>
</dcc:administrativeData>
<dcc:measurementResults><dcc:measurementResult>{conditions}
<dcc:results><dcc:result><dcc:name><dcc:content>Results</dcc:content></dcc:name>
<dcc:data>{results}</dcc:data></dcc:result></dcc:results>
</dcc:measurementResult></dcc:measurementResults>
</dcc:digitalCalibrationCertificate>
""".encode()


def signed(blob: bytes, *, made_at: datetime, days: int = 365) -> bytes:
    """Return a certificate signed with a fresh key, good for so many days."""
    key = ec.generate_private_key(ec.SECP256R1())
    holder = _holder(key, made_at, days)
    root: Any = etree.fromstring(blob)
    made = XMLSigner(signature_algorithm="ecdsa-sha256").sign(
        root, key=key, cert=[holder]
    )
    return etree.tostring(made, xml_declaration=True, encoding="UTF-8")


def _holder(
    key: ec.EllipticCurvePrivateKey, made_at: datetime, days: int
) -> x509.Certificate:
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Headland service")])
    builder = x509.CertificateBuilder(
        issuer_name=name,
        subject_name=name,
        public_key=key.public_key(),
        serial_number=17,
        not_valid_before=made_at,
        not_valid_after=made_at + timedelta(days=days),
    )
    return builder.sign(key, hashes.SHA256())
