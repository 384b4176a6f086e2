"""Digital certificates: what is read, in which unit, and what is refused, in words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lab.common.errors import NotAcceptable
from lab.equipment.dcc import Altered, Certificate, NotACertificate, read_dcc
from tests.equipment.dcc.certificates import (
    AT_20,
    BAR_LENGTH,
    certificate,
    hybrid,
    listed,
    quantity,
    real,
    sensor_table,
    signed,
)

NOW = datetime(2026, 4, 1, 9, tzinfo=UTC)


def read(blob: bytes) -> Certificate:
    return read_dcc(blob, now=NOW)


@pytest.mark.parametrize("version", ["2.4.0", "3.0.0", "3.2.1", "3.3.0"])
def test_a_bar_s_certificate_is_read(version: str) -> None:
    found = read(certificate(version=version))
    assert found.schema_version == version
    assert found.identifier == "HC-2026-0117"
    assert found.calibrated_on == "2026-03-02"
    assert found.laboratory == "Headland Calibration Service"
    assert found.serials == ("ST-1188",)
    (value,) = found.values
    assert (value.label, value.moment) == ("Length A–B", "as left")
    assert (value.text, value.unit) == ("1200.0463", "mm")
    assert (value.expanded_u_text, value.coverage_factor_text) == ("0.0028", "2")
    (stated,) = found.temperatures
    assert stated.degc_text == "20.00"
    assert found.signature.state == "unsigned"


def test_what_is_read_survives_its_way_through_json() -> None:
    found = read(certificate(sensor_table()))
    assert Certificate.from_json(found.to_json()) == found


def test_the_older_form_of_an_uncertainty_is_read_too() -> None:
    length = quantity(real("800.0058", r"\milli\metre", "0.002", "2.05", old=True))
    (value,) = read(certificate(length)).values
    assert (value.expanded_u_text, value.coverage_factor_text) == ("0.002", "2.05")


def test_a_list_is_read_value_by_value() -> None:
    lengths = quantity(listed("100.001 200.002", r"\milli\metre", "0.001 0.0015"))
    first, second = read(certificate(lengths)).values
    assert (first.label, first.text) == ("Length A–B 1", "100.001")
    assert (second.text, second.expanded_u_text) == ("200.002", "0.0015")
    assert second.coverage_factor_text == "2"  # one for all


def test_kelvin_is_a_temperature_or_a_difference_by_its_role() -> None:
    both = quantity(real("293.15", r"\kelvin")) + quantity(
        real("0.05", r"\kelvin"), role="basic_measurementError"
    )
    temperature, error = read(certificate(both)).values
    assert (temperature.text, temperature.unit) == ("20.00", "°C")
    assert (error.text, error.unit) == ("0.05", "K")


def test_a_unit_of_another_trade_is_shown_as_it_is_written() -> None:
    (value,) = read(certificate(quantity(real("1.00007", r"\kilogram")))).values
    assert (value.unit, value.unit_as_written) == ("", r"\kilogram")


def test_a_sensor_s_corrections_are_reference_minus_reading() -> None:
    warm, cold = read(certificate(sensor_table())).corrections
    assert (warm.reading_degc_text, warm.correction_k_text) == ("15.05", "-0.05")
    assert (cold.reading_degc_text, cold.correction_k_text) == ("24.98", "0.02")
    assert (cold.expanded_u_k_text, cold.coverage_factor_text) == ("0.04", "2")


def test_what_was_found_before_an_adjustment_is_told_apart() -> None:
    before = (
        "<dcc:influenceConditions><dcc:influenceCondition refType='basic_adjustment'>"
        "<dcc:status>beforeAdjustment</dcc:status><dcc:data>"
        + quantity(real("1200.0561", r"\milli\metre", "0.0028"))
        + "</dcc:data></dcc:influenceCondition></dcc:influenceConditions>"
    )
    values = read(certificate(conditions=before)).values
    assert [(one.moment, one.text) for one in values] == [
        ("as found", "1200.0561"),
        ("as left", "1200.0463"),
    ]


@settings(max_examples=60)
@given(
    micrometres=st.integers(min_value=1, max_value=10**9),
    form=st.sampled_from([r"\metre", r"\milli\metre", r"\micro\metre"]),
)
def test_a_length_is_the_same_in_whichever_unit_it_is_written(
    micrometres: int, form: str
) -> None:
    per = {r"\metre": 10**6, r"\milli\metre": 10**3, r"\micro\metre": 1}[form]
    text = f"{Decimal(micrometres) / per:f}"
    (value,) = read(certificate(quantity(real(text, form)))).values
    scale = {"m": 10**6, "mm": 10**3, "µm": 1}[value.unit]
    assert Decimal(value.text) * scale == micrometres
    assert "E" not in value.text


def test_of_several_units_the_millimetre_is_taken_wherever_it_stands() -> None:
    forms = (real("0.5", r"\metre"), real("500.0", r"\milli\metre"))
    for order in (forms, forms[::-1]):
        (value,) = read(certificate(quantity(hybrid(*order)))).values
        assert (value.text, value.unit) == ("500.0", "mm")


@pytest.mark.parametrize(
    ("blob", "reason"),
    [
        (b"<qif/>", "no digital calibration certificate"),
        (certificate(version="1.2.0"), "schema version “1.2.0”"),
        (certificate(version=""), "versions 2 and 3"),
        (certificate(day="next week"), "for a day"),
        (certificate(quantity("<dcc:noQuantity/>")), "no measured number"),
        (certificate(quantity(real("NaN", r"\metre"))), "no measured number"),
        (certificate(quantity(real("1e999999", r"\metre"))), "no measured number"),
        (certificate()[:-40], "not well-formed"),
    ],
)
def test_what_is_no_readable_certificate_is_refused(blob: bytes, reason: str) -> None:
    with pytest.raises(NotAcceptable, match=reason) as refused:
        read(blob)
    assert refused.value.field == "file"


def test_a_certificate_without_its_identity_is_refused() -> None:
    blob = certificate().replace(b"uniqueIdentifier", b"otherIdentifier")
    with pytest.raises(NotACertificate, match="no identifier"):
        read(blob)


# --- Signatures -----------------------------------------------------------------------


def test_a_signed_certificate_says_who_signed_it() -> None:
    found = read(signed(certificate(), made_at=NOW - timedelta(days=30)))
    assert found.signature.state == "intact"
    assert found.signature.signer == "CN=Headland service"
    assert "revoked can't be checked" in found.signature.words


def test_a_signature_outlives_its_certificate_and_says_so() -> None:
    made_at = NOW - timedelta(days=400)
    found = read(signed(certificate(), made_at=made_at, days=100))
    assert found.signature.state == "expired"
    assert "ran out on 2025-06-05" in found.signature.words


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (b"1200.0463", b"1200.0462"),
        (b"HC-2026-0117", b"HC-2026-0118"),
        (b"Length A", b"Length B"),
    ],
)
def test_a_file_altered_after_signing_is_refused(was: bytes, becomes: bytes) -> None:
    blob = signed(certificate(), made_at=NOW - timedelta(days=30))
    assert was in blob
    with pytest.raises(Altered, match="changed after it was signed"):
        read(blob.replace(was, becomes))


def test_an_altered_signature_is_no_signature() -> None:
    blob = signed(certificate(), made_at=NOW - timedelta(days=30))
    start = blob.index(b"SignatureValue>") + len(b"SignatureValue>")
    other = b"A" if blob[start : start + 1] != b"A" else b"B"
    with pytest.raises(Altered):
        read(blob[:start] + other + blob[start + 1 :])


def test_a_signature_of_a_part_is_not_taken_for_one_of_the_whole() -> None:
    """Else a signed part could be wrapped into an unsigned, different whole."""
    blob = signed(certificate(), made_at=NOW - timedelta(days=30))
    wrapped = blob.replace(b'URI=""', b'URI="#part"')
    assert read(wrapped).signature.state == "unchecked"


def test_a_signature_in_a_deeper_element_is_not_taken_for_one_of_the_whole() -> None:
    blob = signed(certificate(), made_at=NOW - timedelta(days=30))
    start, end = blob.index(b"<ds:Signature "), blob.index(b"</ds:Signature>") + 15
    signature = blob[start:end]
    moved = blob[:start] + blob[end:]
    inside = moved.replace(b"<dcc:items>", b"<dcc:items>" + signature)
    assert read(inside).signature.state == "unchecked"


def test_a_filter_that_may_leave_parts_out_is_not_checked() -> None:
    blob = signed(certificate(), made_at=NOW - timedelta(days=30))
    known = b"http://www.w3.org/2000/09/xmldsig#enveloped-signature"
    assert known in blob
    other = blob.replace(known, b"http://www.w3.org/2002/06/xmldsig-filter2")
    assert read(other).signature.state == "unchecked"


def test_the_pieces_of_these_tests_are_what_they_are_said_to_be() -> None:
    assert AT_20.encode() in certificate()
    assert BAR_LENGTH.encode() in certificate()
