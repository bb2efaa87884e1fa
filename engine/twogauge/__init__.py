"""Two gauges, one thermometer: saturation tables and ranked faults with reasons.

    import twogauge
    reading = twogauge.Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF")
    diagnosis = twogauge.diagnose(reading)
    diagnosis.verdict, diagnosis.first.fault, diagnosis.first.probability

Names are imported when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from twogauge.columns import Columns, from_arrays
    from twogauge.diagnosis import Diagnosis, diagnose, program_for
    from twogauge.errors import FileProblems, InputError, QuantityError, RangeError, TwogaugeError
    from twogauge.fleet.table import diagnose_table
    from twogauge.outlook import Outlook, look_ahead
    from twogauge.reading import Reading, read_file
    from twogauge.weigh import Weighed, weigh_columns

__version__ = "0.1.0"

_HOME = {
    "Columns": "columns",
    "Diagnosis": "diagnosis",
    "FileProblems": "errors",
    "InputError": "errors",
    "Outlook": "outlook",
    "QuantityError": "errors",
    "RangeError": "errors",
    "Reading": "reading",
    "TwogaugeError": "errors",
    "Weighed": "weigh",
    "diagnose": "diagnosis",
    "diagnose_table": "fleet.table",
    "from_arrays": "columns",
    "look_ahead": "outlook",
    "program_for": "diagnosis",
    "read_file": "reading",
    "weigh_columns": "weigh",
}

__all__ = [
    "Columns",
    "Diagnosis",
    "FileProblems",
    "InputError",
    "Outlook",
    "QuantityError",
    "RangeError",
    "Reading",
    "TwogaugeError",
    "Weighed",
    "diagnose",
    "diagnose_table",
    "from_arrays",
    "look_ahead",
    "program_for",
    "read_file",
    "weigh_columns",
]


def __getattr__(name: str) -> object:
    if name in _HOME:
        import importlib  # noqa: PLC0415 - see the top

        return getattr(importlib.import_module(f"twogauge.{_HOME[name]}"), name)
    raise AttributeError(f"module 'twogauge' has no attribute {name!r}")
