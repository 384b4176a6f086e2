"""Every published and own example: read, or refused with the right reason."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from lab.common.errors import NotAcceptable
from lab.equipment.dcc import read_sandboxed

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
GOOD = "examples/dcc_gp_temperature"
OTHER = "examples/dcc_ngp_temperature"
#: The file; its version; how many values and corrections; how it is signed.
READ = [
    ("examples/dcc-vacuumlab-CDG.xml", "3.1.1", 56, 0, "unsigned"),
    ("examples/dcc_gp_temperatur_resistance_v12.xml", "3.1.1", 21, 0, "unsigned"),
    (f"{GOOD}_extensive_v12.xml", "3.1.1", 30, 10, "unsigned"),
    (f"{GOOD}_typical_adjustment_v12.xml", "3.1.1", 30, 10, "unsigned"),
    (f"{GOOD}_typical_v12.xml", "3.1.1", 15, 5, "unsigned"),
    (f"{GOOD}_typical_v12_signed.xml", "3.1.1", 15, 5, "expired"),
    (f"{GOOD}_typical_v12_v3.2.0_signed.xml", "3.2.0", 15, 5, "expired"),
    (f"{GOOD}_typical_v12_v3.2.0_signed_lt.xml", "3.2.0", 15, 5, "expired"),
    (f"{GOOD}_typical_v12_v3.2.0_signed_lt_revoked.xml", "3.2.0", 15, 5, "expired"),
    (f"{OTHER}_typical_v12_refType2ID.xml", "3.1.1", 15, 0, "unsigned"),
    ("examples/example_3_0_0.xml", "3.0.0", 4, 0, "unsigned"),
    ("examples/signed_siliziumkugel.xml", "2.4.0", 2, 0, "unchecked"),
    ("examples/siliziumkugel_2_4_0.xml", "2.4.0", 2, 0, "unsigned"),
    ("own/inspection_result_3_3_0.xml", "3.3.0", 4, 0, "unsigned"),
    ("own/scale_bar_minimal_3_3_0.xml", "3.3.0", 1, 0, "unsigned"),
]
REFUSED = [
    (f"{GOOD}_typical_v12_v3.2.0_signed_manipulated.xml", "changed after it was signed")
]


@pytest.mark.parametrize(("name", "version", "values", "corrections", "state"), READ)
def test_an_example_is_read(
    shared_data: Callable[[str], Path],
    name: str,
    version: str,
    values: int,
    corrections: int,
    state: str,
) -> None:
    found = read_sandboxed(shared_data(f"dcc/{name}").read_bytes(), now=NOW)
    assert found.schema_version == version
    assert (len(found.values), len(found.corrections)) == (values, corrections)
    assert found.signature.state == state


@pytest.mark.parametrize(("name", "reason"), REFUSED)
def test_an_example_is_refused(
    shared_data: Callable[[str], Path], name: str, reason: str
) -> None:
    with pytest.raises(NotAcceptable, match=reason):
        read_sandboxed(shared_data(f"dcc/{name}").read_bytes(), now=NOW)


def test_no_example_is_left_out(shared_data: Callable[[str], Path]) -> None:
    folder = shared_data("dcc")
    there = {str(path.relative_to(folder)) for path in folder.glob("*/*.xml")}
    assert there == {row[0] for row in [*READ, *REFUSED]}
