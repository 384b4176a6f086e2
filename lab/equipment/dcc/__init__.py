"""Digital calibration certificates (DCC), read as XML: bytes in, dataclasses out.

`reading`: the document's structure; `quantities`: its numbers; `units`: how it writes
units; `signing`: whether the file is as it was signed; `records`: what comes out;
`inside`: what runs in the sandbox. Nothing here needs Django.

The schemas are not shipped: a document is read by the structure that schema versions
2 and 3 share, and refused in words where that is missing.
"""

from lab.equipment.dcc.inside import read_sandboxed
from lab.equipment.dcc.reading import NotACertificate, read_dcc
from lab.equipment.dcc.records import (
    Certificate,
    Correction,
    Signature,
    StatedTemperature,
    Value,
)
from lab.equipment.dcc.signing import Altered

__all__ = [
    "Altered",
    "Certificate",
    "Correction",
    "NotACertificate",
    "Signature",
    "StatedTemperature",
    "Value",
    "read_dcc",
    "read_sandboxed",
]
