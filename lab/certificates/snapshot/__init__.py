"""What a certificate says, as one frozen text: every printed string, and no other.

``content_of(draft)`` gathers the content from the records; the reviewer's approval is
for its hash. ``issued(content, issue)`` adds what exists only at issue, and the
canonical JSON of that is the snapshot. Later schemas are read through pure ``upcast``
steps; stored bytes are never rewritten.

Schema 1, all values strings but for the flags and lists named so::

    schema 1      paper      title      adjustment      opinion {heading, text, author}
    laboratory {name, address[], email, phone, accreditation}
    place_of_work [{name, address[], rooms[], kind}]
    customer {name, address[], contact, contact_email, contact_phone, order}
    job                 part {number, name, revision, material}
    items [{serial, description, condition, received_on}]
    method {code, title, revision, reference_document, text}
    agreement {number, agreed_on, agreed_with, states_conformity flag, sampled flag}
    measured_on {text, days[]}                             deviations      sampling
    results [{serial, rows [row]}], row as in snapshot/results.py
    uncertainty {statement, bases[]}   evaluation {software[], evaluated_by[]}
    conformity None or {rule, rule_text, risk, burden, specification, scope, verdicts[]}
    conditions {rooms[], part_temperatures[], reference}
    traceability {statement, standards[]}     sessions [{label, statement, findings[]}]
    gates_passed []     change None or {kind, number, issued_on, text, statement}
    statements {items_only, as_received, customer_data, no_partial_copy}
    customer_supplied []
    issue {number, issued_on, issued_at, authorised_by, reviewed_by, reviewed_on,
           authenticity_code, authenticity_url, seal_head, program_version,
           signature None or {holder, fingerprint}}
"""

from lab.certificates.snapshot.content import content_of, content_sha256
from lab.certificates.snapshot.issue import Issue, issued, program_version
from lab.certificates.snapshot.reading import (
    SCHEMA,
    UnknownSchema,
    read_snapshot,
    upcast,
)

__all__ = [
    "SCHEMA",
    "Issue",
    "UnknownSchema",
    "content_of",
    "content_sha256",
    "issued",
    "program_version",
    "read_snapshot",
    "upcast",
]
