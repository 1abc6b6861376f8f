"""ADIF 3.1.7: streaming reader, writer, checker, and the standard's tables.

The usual way in and out::

    for record in read_file("evening.adi"):
        when, _ = parse_when(record)
    write_file("copy.adi", records, program_version="1.0", created=now)
"""

from __future__ import annotations

from watchkeeper.adif.checker import Check, check
from watchkeeper.adif.modes import Normalised, normalise, on_air, to_adif
from watchkeeper.adif.reader import Reader, read, read_file
from watchkeeper.adif.record import Header, Problem, Record, Severity, UserField
from watchkeeper.adif.tables import RELEASE
from watchkeeper.adif.values import AdifValueError, adif_date, adif_time, freq_mhz, hz, parse_when
from watchkeeper.adif.writer import Change, Encoded, encode_record, header, write_file, write_record

__all__ = [
    "RELEASE",
    "AdifValueError",
    "Change",
    "Check",
    "Encoded",
    "Header",
    "Normalised",
    "Problem",
    "Reader",
    "Record",
    "Severity",
    "UserField",
    "adif_date",
    "adif_time",
    "check",
    "encode_record",
    "freq_mhz",
    "header",
    "hz",
    "normalise",
    "on_air",
    "parse_when",
    "read",
    "read_file",
    "to_adif",
    "write_file",
    "write_record",
]
