"""Degrees: the normal distribution function, soft and uncertain edges, and three-valued rules."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge.columns import from_arrays
from twogauge.degree import CLEARLY_FALSE, FADES_BY, all_hold, edge_degree, layers_of, normal_cdf
from twogauge.diagnosis import columns_of
from twogauge.reading import Reading

UNKNOWN = math.nan


def exact(z):
    return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))


def degree_at(value, u, condition):
    """The degree of one written condition on superheat, all the way through, for one or many values."""
    pack = {
        "pack": "one",
        "faults": {"normal": mine.fault_entry("common", nothing_wrong="yes")},
        "rules": {"only": mine.rule_entry({"superheat": condition}, {"normal": "for"}, "a_topic")},
    }
    # The permitted error of an instrument is sqrt(3) standard uncertainties.
    columns = from_arrays({"superheat": value, "thermometer_accuracy": np.multiply(u, math.sqrt(3.0))}, {})
    found = mine.rule_degrees(mine.compiled(pack), columns)["only"]
    return float(found[0]) if np.ndim(value) == 0 else found


def test_the_distribution_function_agrees_with_the_standard_library():
    z = np.linspace(-9.0, 9.0, 20_001)
    assert np.abs(normal_cdf(z) - [exact(x) for x in z]).max() <= 1.5e-7


@given(st.floats(-1e150, 1e150))
def test_the_distribution_function_is_a_probability_and_symmetric(z):
    low, high = normal_cdf(np.array([-abs(z), abs(z)]))
    assert 0.0 <= low <= 0.5 + 1e-8 <= high + 2e-8
    assert high <= 1.0
    assert low + high == pytest.approx(1.0, abs=2e-9)


@given(st.floats(-8.0, 8.0), st.floats(1e-3, 5.0))
def test_the_distribution_function_never_falls_by_more_than_its_error(z, step):
    before, after = normal_cdf(np.array([z, z + step]))
    assert after >= before - 1.5e-7


def test_nothing_known_stays_nothing_known():
    assert math.isnan(normal_cdf(np.array([math.nan]))[0])
    one = np.array([[1.0]])
    assert math.isnan(edge_degree(np.array([[math.nan]]), one, one, one, one)[0, 0])


# A perfect instrument, `above: 38 K, soft: 6 K`: even odds at 38 K, 98 in 100 at 44 K, 2 in 100 at 32 K.
@pytest.mark.parametrize(("value", "degree"), [(38.0, 0.5), (44.0, 0.98), (32.0, 0.02), (80.0, 1.0), (0.0, 0.0)])
def test_a_soft_edge_is_as_good_as_sure_where_its_author_says(value, degree):
    assert degree_at(value, 0.0, {"above": "38 K", "soft": "6 K"}) == pytest.approx(degree, abs=2e-7)
    assert degree_at(value, 0.0, {"below": "38 K", "soft": "6 K"}) == pytest.approx(1.0 - degree, abs=2e-7)


def test_uncertainty_and_softness_add_as_independent_errors():
    # soft 6 K is a standard deviation of 6 / 2.0537 K; with an uncertainty of 4 K the two make one of 4.9549 K.
    sigma = math.sqrt((6.0 / 2.0537489106318225) ** 2 + 4.0**2)
    assert sigma == pytest.approx(4.9549, abs=2e-3)
    got = degree_at(44.0, 4.0, {"above": "38 K", "soft": "6 K"})
    assert got == pytest.approx(exact(6.0 / sigma), abs=2e-7)
    assert got < 0.98


def test_without_softness_and_uncertainty_an_edge_is_a_step():
    assert degree_at([37.999, 38.001], 0.0, {"above": "38 K"}) == pytest.approx([0.0, 1.0], abs=1e-9)


@given(st.floats(-50.0, 120.0), st.floats(0.0, 10.0))
def test_between_is_what_neither_end_takes_away(value, u):
    between = degree_at(value, u, {"between": ["15 K", "30 K"], "soft": "2 K"})
    above = degree_at(value, u, {"above": "15 K", "soft": "2 K"})
    below = degree_at(value, u, {"below": "30 K", "soft": "2 K"})
    assert between == pytest.approx(above + below - 1.0, abs=1e-12)


@given(st.floats(-1e3, 1e3), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_more_uncertainty_moves_a_degree_towards_even_odds_and_never_across(value, u, more):
    sharp = degree_at(value, u, {"above": "38 K", "soft": "6 K"})
    dull = degree_at(value, u + more, {"above": "38 K", "soft": "6 K"})
    assert abs(dull - 0.5) <= abs(sharp - 0.5) + 2e-7
    assert (dull - 0.5) * (sharp - 0.5) >= -1e-8


# Beyond 1e100 squares leave what a double can hold; no reading gets near (texts are bounded when they are read).
_ANY = st.floats(-1e100, 1e100)


@given(_ANY, st.floats(0.0, 1e100), _ANY, st.sampled_from((-1.0, 1.0)))
def test_every_number_has_a_degree(value, u, threshold, sign):
    columns = (np.array([[x]]) for x in (value, u, threshold, sign, 0.0))
    assert 0.0 <= edge_degree(*columns)[0, 0] <= 1.0


# -- three-valued: true, false, unknown ---------------------------------------------------------------------------

SAID = {True: "yes", False: "no", None: "unknown"}


def rule_of(*names):
    pack = {
        "pack": "three_values",
        "faults": {"normal": mine.fault_entry("common", nothing_wrong="yes"), "bent": mine.fault_entry("rare")},
        "checks": {name: mine.check_entry(("yes", "no")) for name in ("one", "two")},
        "rules": {
            "both": mine.rule_entry(
                {n: {"above": "10 K", "soft": "2 K"} if n == "superheat" else {"is": "yes"} for n in names},
                {"bent": "for"},
                "a_topic",
                otherwise={"bent": "against"},
            ),
            "other": mine.rule_entry(
                {"two": {"is": "yes"}}, {"bent": "for"}, "b_topic", otherwise={"bent": "against"}
            ),
        },
    }
    return mine.compiled(pack)


@pytest.mark.parametrize(
    ("first", "second", "both"),
    [
        (True, True, 1.0),
        (True, False, 0.0),
        (False, True, 0.0),
        (False, False, 0.0),
        (True, None, UNKNOWN),
        (None, True, UNKNOWN),
        (False, None, 0.0),
        (None, False, 0.0),
        (None, None, UNKNOWN),
    ],
)
def test_one_condition_clearly_false_decides_and_otherwise_one_unknown_does(first, second, both):
    alone = Reading(checks={"one": SAID[first], "two": SAID[second]})
    # Beside another reading every column exists, and "not told" is a hole in it and no missing column.
    columns = columns_of([alone, Reading(checks={"one": "yes", "two": "no"})])
    for what in (alone, columns):
        degrees = mine.rule_degrees(rule_of("one", "two"), what)
        assert degrees["both"][0] == pytest.approx(both, nan_ok=True)
        told = UNKNOWN if second is None else float(second)
        assert degrees["other"][0] == pytest.approx(told, nan_ok=True)


@pytest.mark.parametrize(
    ("superheat", "check", "degree"),
    [
        (10.0, True, 0.5),
        (10.0, False, 0.0),
        (12.0, True, 0.98),
        (8.0, True, 0.02),
        (10.0, None, UNKNOWN),  # even odds decide nothing
        (8.0, None, 0.02),  # clearly false decides
        (None, False, 0.0),
        (None, True, UNKNOWN),
    ],
)
def test_a_rule_holds_as_far_as_its_weakest_condition(superheat, check, degree):
    given = {"checks": {"one": SAID[check]}, "thermometer_accuracy": "0 K"}
    if superheat is not None:
        given["superheat"] = f"{superheat} K"
    got = mine.rule_degrees(rule_of("one", "superheat"), Reading(given))["both"][0]
    assert got == pytest.approx(degree, abs=2e-7, nan_ok=True)


@given(st.floats(0.0, 20.0))
def test_a_number_beside_an_unknown_decides_up_to_one_in_ten_and_then_fades_out(superheat):
    given = {"superheat": f"{superheat:.6f} K", "thermometer_accuracy": "0 K"}
    got = mine.rule_degrees(rule_of("one", "superheat"), Reading(given))["both"][0]
    own = mine.rule_degrees(rule_of("one", "superheat"), Reading(given, checks={"one": "yes"}))["both"][0]
    if own <= CLEARLY_FALSE:
        assert got == pytest.approx(own, abs=1e-12)
    elif own < FADES_BY:
        assert own < got < 0.5
    else:
        assert math.isnan(got)


def test_what_a_rule_says_beside_an_unknown_has_no_cliff():
    degrees = np.array([np.linspace(0.0, 1.0, 2001)])
    members = layers_of([[0]])
    faded = all_hold(degrees.copy(), members, always_unknown=np.array([[True]]))[0]
    says = np.fmax(1.0 - 2.0 * faded, 0.0)  # what counts of `otherwise`; a rule without a degree counts nothing
    assert says[0] == 1.0
    assert np.abs(np.diff(says)).max() < 0.01
    assert (np.diff(says) <= 0.0).all()
