"""Published bands of normal pressures, by ambient temperature: data/bands.yaml names each source.

A reading in the middle of a row must come out normal by the built-in expectations alone; a reading anywhere inside
the row must come out normal once the row is given as the maker's range for the day.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from twogauge import Reading, diagnose

SOURCES = yaml.safe_load((Path(__file__).parent / "data" / "bands.yaml").read_text(encoding="utf-8"))
ROWS = [(source, row) for source in SOURCES for row in source["rows"]]
METERING = {"txv": "expansion_valve"}


def _name(value):
    source, row = value
    return f"{source['source']['title'].split(',')[0][:28]} {source['refrigerant']} {row['ambient_degF']}F"


def _reading(source, row, low, high, **more):
    given = {
        "refrigerant": source["refrigerant"],
        # The R-22 sources are shelter conditioners, the others machines with a cab.
        "system": "packaged_ac" if source["refrigerant"] == "R22" else "off_road_ac",
        "low_side": f"{low} psi",
        "high_side": f"{high} psi",
        **more,
    }
    if row["ambient_degF"] is not None:
        given["ambient"] = f"{row['ambient_degF']} degF"
    if source["metering"] in METERING:
        given["metering"] = METERING[source["metering"]]
    return Reading(given)


@pytest.mark.parametrize("value", ROWS, ids=_name)
def test_mid_band_is_normal_without_being_told_the_band(value):
    source, row = value
    diagnosis = diagnose(_reading(source, row, sum(row["low_psig"]) / 2, sum(row["high_psig"]) / 2))
    assert diagnosis.first.fault == "normal"
    assert diagnosis.verdict == "normal"


@settings(max_examples=200)
@given(value=st.sampled_from(ROWS), low=st.floats(0, 1), high=st.floats(0, 1))
def test_anywhere_inside_the_band_is_normal_once_it_is_told(value, low, high):
    source, row = value
    (a, b), (c, d) = row["low_psig"], row["high_psig"]
    spec = {"low_side": [f"{a} psi", f"{b} psi"], "high_side": [f"{c} psi", f"{d} psi"]}
    diagnosis = diagnose(_reading(source, row, a + low * (b - a), c + high * (d - c), spec=spec))
    assert diagnosis.verdict == "normal"
    assert diagnosis.first.fault == "normal"


def test_far_outside_the_band_is_not_normal_once_it_is_told():
    for source, row in ROWS:
        (a, b), (c, d) = row["low_psig"], row["high_psig"]
        spec = {"low_side": [f"{a} psi", f"{b} psi"], "high_side": [f"{c} psi", f"{d} psi"]}
        diagnosis = diagnose(_reading(source, row, b + 2 * (b - a), d + 2 * (d - c), spec=spec))
        assert diagnosis.verdict != "normal", (row, diagnosis.first)
