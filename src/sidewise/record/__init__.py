"""An examination: context, findings, sides, revisions. Imports the protocol only."""

from sidewise.record.check import check_finding, check_record, is_normal
from sidewise.record.model import (
    FORMAT,
    OTHER,
    Conclusion,
    Conflict,
    Context,
    Finding,
    Known,
    KnownSides,
    Record,
    Revision,
    Signature,
)
from sidewise.record.reading import (
    parse_record,
    read_record,
    record_document,
    record_json,
    record_schema,
)

__all__ = [
    "FORMAT",
    "OTHER",
    "Conclusion",
    "Conflict",
    "Context",
    "Finding",
    "Known",
    "KnownSides",
    "Record",
    "Revision",
    "Signature",
    "check_finding",
    "check_record",
    "is_normal",
    "parse_record",
    "read_record",
    "record_document",
    "record_json",
    "record_schema",
]
