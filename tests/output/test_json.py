"""The JSON of a diagnosis: its shape is a promise, its numbers are finite, and it says what the text says."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from small_pack import program
from twogauge.diagnosis import diagnose
from twogauge.outlook import look_ahead
from twogauge.output import json as module
from twogauge.output import outlook
from twogauge.output.json import SCHEMA, as_json, document
from twogauge.reading import Reading

TEXT, NUMBER, FLAG = str, float, bool
NOTE = {"pack": TEXT, "note": TEXT}
ANSWER = {"answer": TEXT, "meaning": TEXT}
CAUTION = {"caution": TEXT, "short": TEXT, "text": TEXT}
LEVEL, YARDSTICK = {"low", "normal", "high", None}, {"usual", "baseline", "spec", "told", "target", None}

REASON = {
    "rule": TEXT,
    "title": TEXT,
    "text": TEXT,
    "weight_db": NUMBER,
    "degree": NUMBER,
    "topic": TEXT,
    "counted": FLAG,
    "pack": TEXT,
    "notes": [NOTE],
    "source": TEXT,
}
ENDS = {"low": NUMBER, "high": NUMBER, "unit": TEXT}
READING = {
    "units": {"us", "si", "metric"},
    "numbers": {str: {"value": NUMBER, "unit": TEXT}},
    "swings": {str: ENDS},
    "words": {str: TEXT},
    "texts": {str: TEXT},
    "spec": {str: ENDS},
    "barometer": {"value": NUMBER, "unit": {"Pa"}, "from": {"barometer", "altitude", "assumed"}},
    "baseline": dict,
    "notes": [TEXT],
}
SHAPE = {
    "schema": {SCHEMA},
    "verdict": {"fault", "normal", "too_close", "not_enough", "gated"},
    "close": [TEXT],
    "ranking": [
        {
            "fault": TEXT,
            "title": TEXT,
            "probability": NUMBER,
            "weight_db": NUMBER,
            "prior_db": NUMBER,
            "nothing_wrong": FLAG,
            "serious": {"comfort", "damage", "danger"},
            "what_happens": TEXT,
            "reasons": [REASON],
            "confirm": [TEXT],
            "repair": [TEXT],
            "cautions": [CAUTION],
            "notes": [NOTE],
        }
    ],
    "unexplained": [REASON],
    "gates": [{"gate": TEXT, "title": TEXT, "text": TEXT, "instead": TEXT, "degree": NUMBER}],
    "derived": [
        {
            "quantity": TEXT,
            "about": TEXT,
            "value": NUMBER,
            "u": NUMBER,
            "unit": {"Pa", "K", "1", "s", "m", "1/min"},
            "display": TEXT,
            "normal": tuple,
            "judged_by": YARDSTICK,
            "level": LEVEL,
        }
    ],
    "missing": [{"quantity": TEXT, "reason": TEXT}],
    "next": [
        {
            "name": TEXT,
            "title": TEXT,
            "ask": TEXT,
            "how": TEXT,
            "minutes": NUMBER,
            "also": [TEXT],
            "answers": [ANSWER],
            "information": NUMBER,
            "cautions": [CAUTION],
            "outcomes": [
                {
                    "answer": TEXT,
                    "meaning": TEXT,
                    "probability": NUMBER,
                    "leader": TEXT,
                    "before": NUMBER,
                    "after": NUMBER,
                    "mover": TEXT,
                    "mover_before": NUMBER,
                    "mover_after": NUMBER,
                }
            ],
            "said": [TEXT],
        }
    ],
    "sure": {
        "samples": int,
        "varied": [TEXT],
        "same_leader": NUMBER,
        "same_verdict": NUMBER,
        "takers": [{"fault": TEXT, "share": NUMBER}],
        "turning_points": [
            {
                "field": TEXT,
                "shift": NUMBER,
                "value": NUMBER,
                "u": NUMBER,
                "unit": {"Pa", "K"},
                "in_u": NUMBER,
                "fault": TEXT,
            }
        ],
        "said": [TEXT],
    },
    "instruments": [TEXT],
    "second": {
        "remainder_db": NUMBER,
        "faults": [{"fault": TEXT, "title": TEXT, "gain_db": NUMBER, "odds_db": NUMBER}],
        "suspects": [
            {"names": [TEXT], "swapped": FLAG, "fault": TEXT, "probability": NUMBER, "remainder_db": NUMBER}
        ],
        "said": [TEXT],
    },
    "warnings": [TEXT],
    "cautions": [CAUTION],
    "packs": [{"pack": TEXT, "edition": int}],
    "disabled": [{"id": TEXT, "why": TEXT}],
    "reading": READING,
}


def check(value, shape, where="document"):
    """Compare keys in their order, and types; a set lists the allowed values."""
    if isinstance(shape, set):
        assert value in shape, where
    elif shape is tuple:
        assert value is None or (
            len(value) == 2 and type(value[0]) is float and type(value[1]) in {float, type(None)}
        ), where
    elif shape is dict:
        if value is not None:
            check(value, READING, where)
    elif isinstance(shape, list):
        assert isinstance(value, list), where
        for i, item in enumerate(value):
            check(item, shape[0], f"{where}[{i}]")
    elif isinstance(shape, dict) and str in shape:
        assert list(value) == sorted(value) or where.endswith("texts"), where
        for name, item in value.items():
            check(item, shape[str], f"{where}.{name}")
    elif isinstance(shape, dict):
        assert list(value) == list(shape), where
        for name, part in shape.items():
            check(value[name], part, f"{where}.{name}")
    else:
        assert type(value) is shape, f"{where}: {value!r}"


FULL = {
    "refrigerant": "R134a",
    "low_side": "22 to 45 psi",
    "high_side": "390 psi",
    "ambient": "90 degF",
    "machine": "bus 17",
    "paper_test": "falls",
    "spec": {"high_side": ["180 psi", "220 psi"]},
    "baseline": {"refrigerant": "R134a", "low_side": "28 psi"},
}


def answer(given):
    """The diagnosis and what goes on from it."""
    return diagnose(Reading(given), program=program()), look_ahead(Reading(given), program=program())


@pytest.mark.parametrize(
    "given",
    [
        FULL,
        {},
        {"low_side": "low", "high_side": "high"},
        {"refrigerant": "R134a", "low_side": 5, "ambient": "20 degF"},
    ],
    ids=["full", "empty", "words", "gated"],
)
def test_the_document_has_the_promised_shape(given):
    check(json.loads(as_json(*answer(given))), SHAPE)


def test_the_shape_check_can_fail():
    good = document(*answer(FULL))
    for spoilt in (
        {**good, "extra": 1},
        dict(reversed(good.items())),
        {**good, "verdict": "maybe"},
        {**good, "close": [1]},
        {**good, "missing": None},
    ):
        with pytest.raises(AssertionError):
            check(spoilt, SHAPE)


def test_every_promised_key_is_described():
    def keys(shape):
        if isinstance(shape, dict):
            for name, part in shape.items():
                if isinstance(name, str):
                    yield name
                yield from keys(part)
        elif isinstance(shape, list):
            yield from keys(shape[0])

    described = module.__doc__ + outlook.__doc__
    assert [name for name in keys(SHAPE) if name not in described] == []


pressures = st.one_of(
    st.floats(-14.0, 500.0).map(lambda value: f"{value:.6g} psi"),
    st.sampled_from(["low", "normal", "high", "20 to 40 psi"]),
)
readings = st.fixed_dictionaries(
    {},
    optional={
        "refrigerant": st.sampled_from(["R134a", "R744", "R407C", "R12"]),
        "low_side": pressures,
        "high_side": pressures,
        "ambient": st.floats(-20.0, 50.0).map(lambda value: f"{value:.6g} degC"),
        "suction_line": st.floats(-60.0, 120.0).map(lambda value: f"{value:.6g} degC"),
        "liquid_line": st.floats(-60.0, 120.0).map(lambda value: f"{value:.6g} degC"),
        "altitude": st.floats(-300.0, 5000.0).map(lambda value: f"{value:.6g} m"),
        "paper_test": st.sampled_from(["sticks", "falls", "unknown"]),
        "units": st.sampled_from(["us", "si", "metric"]),
    },
)


def tried(given):
    from twogauge.errors import InputError

    try:
        return answer(given)
    except InputError:  # a pressure no refrigerant can show, a vacuum below nothing
        return None


@given(readings)
def test_no_reading_gives_nan_infinity_or_another_shape(given):
    found = tried(given)
    if found is None:
        return
    told = json.loads(as_json(*found), parse_constant=lambda name: pytest.fail(f"{name} in the document"))
    check(told, SHAPE)
    assert math.isclose(sum(each["probability"] for each in told["ranking"]), 1.0, rel_tol=1e-9)


def test_a_number_that_does_not_exist_is_null():
    diagnosis, ahead = answer(FULL)
    spoilt = replace(diagnosis.derived[0], u=math.nan, value=math.inf)
    told = json.loads(as_json(replace(diagnosis, derived=(spoilt,)), ahead))
    assert told["derived"][0]["u"] is None
    assert told["derived"][0]["value"] is None


def test_the_ranking_holds_every_hypothesis_in_order_with_normal_among_them():
    told = document(*answer(FULL))
    shares = [each["probability"] for each in told["ranking"]]
    assert shares == sorted(shares, reverse=True)
    assert {each["fault"] for each in told["ranking"]} == set(program().stack.faults)
    assert [each["fault"] for each in told["ranking"] if each["nothing_wrong"]] == ["normal"]


def test_numbers_are_si_and_shown_in_the_readers_units():
    told = document(*answer({"refrigerant": "R134a", "high_side": "200 psi", "altitude": "0 ft"}))
    high = next(each for each in told["derived"] if each["quantity"] == "high_side")
    assert high["value"] == pytest.approx(200 * 6894.757293 + 101325.0)
    assert (high["unit"], high["display"]) == ("Pa", "200 \u00b1 9 psi")
    assert told["reading"]["numbers"]["high_side"] == {"value": high["value"], "unit": "Pa"}


def test_the_same_reading_gives_the_same_bytes_whatever_the_order_of_its_fields():
    assert as_json(*answer(FULL)) == as_json(*answer(dict(reversed(FULL.items()))))
