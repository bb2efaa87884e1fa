"""Oil: each maker's word as it was read, the range they make, and what drive, rubber and residue ask for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError, UnknownNameError
from twogauge.service.oil import oil, part_names

ML, OZ = 1e-6, 29.5735295625e-6
R134A = refrigerants.get("R134a")


def part(name, drained=None):
    given = {} if drained is None else {name: drained}
    (found,) = oil(R134A, parts=[name], drained=given).parts
    return found


def word(name, maker, drained=None):
    (found,) = [w for w in part(name, drained).words if w.maker.startswith(maker)]
    return found


@pytest.mark.parametrize(
    ("name", "maker", "amount"),
    [
        ("evaporator", "Corvette", 90 * ML),
        ("evaporator", "Toyota", 40 * ML),
        ("evaporator", "Cadillac", 3 * OZ),
        ("condenser", "Lincoln", 1 * OZ),
        ("condenser", "Ford", 30 * ML),
        ("accumulator", "Pontiac", 105 * ML),
        ("receiver", "GMC", 1 * OZ),
        ("burst_hose", "Lincoln", 2 * OZ),
        ("sudden_loss", "Cadillac", 90 * ML),
        ("refrigerant_only", "Suzuki", 20 * ML),
    ],
)
def test_an_amount_is_the_makers(name, maker, amount):
    assert word(name, maker).amount == pytest.approx(amount)


@pytest.mark.parametrize(
    ("maker", "drained", "amount"),
    [
        ("Pontiac", 20 * ML, 60 * ML),
        ("Pontiac", 30 * ML, 30 * ML),
        ("Pontiac", 45 * ML, 45 * ML),
        ("Lincoln", 2 * OZ, 3 * OZ),
        ("Lincoln", 3 * OZ, 4 * OZ),
        ("Lincoln", 4 * OZ, 5 * OZ),
        ("Lincoln", 5 * OZ, 6 * OZ),
        ("Lincoln", 6 * OZ, 6 * OZ),
        ("Cadillac", 2 * OZ, 3 * OZ),
        ("GMC C2500 1994, compressor HR-6", 2 * OZ, 5.5 * OZ),
        ("Corvette", 200 * ML, 60 * ML),
        ("Toyota", 55 * ML, 55 * ML),
    ],
)
def test_a_compressor_gets_what_its_maker_says_about_what_came_out(maker, drained, amount):
    assert word("compressor", maker, drained).amount == pytest.approx(amount)


@given(st.sampled_from(part_names()), st.floats(0, 300))
def test_the_range_holds_every_maker(name, millilitre):
    found = part(name, millilitre * ML)
    assert not found.after_draining
    amounts = [w.amount for w in found.words]
    assert found.low == min(amounts) <= max(amounts) == found.high
    assert all(0 <= amount < 1e-3 for amount in amounts)


@given(st.lists(st.sampled_from(part_names()), unique=True, min_size=1), st.floats(0, 300))
def test_the_sum_is_the_sum_of_the_parts_in_any_order(names, millilitre):
    drained = dict.fromkeys(names, millilitre * ML)
    one, other = (oil(R134A, parts=order, drained=drained) for order in (names, names[::-1]))
    assert one.low == pytest.approx(sum(p.low for p in one.parts))
    assert (one.low, one.high) == pytest.approx((other.low, other.high))


def test_what_depends_on_draining_waits_for_it():
    found = part("compressor")
    assert found.after_draining
    assert (found.low, found.high) == pytest.approx((0.0, 3.5 * OZ))
    assert math.isnan(oil(R134A, parts=["compressor", "condenser"]).high)
    assert oil(R134A, parts=["condenser"]).high == pytest.approx(40 * ML)


def test_an_electric_compressor_gets_insulating_oil_alone():
    belt, electric = (oil(R134A, drive=drive) for drive in ("belt", "electric"))
    assert belt.kinds == ("PAG", "POE")
    assert electric.kinds == ("POE",)
    assert "1 %" in electric.of_drive[0]
    for name in refrigerants.names():
        kinds = oil(refrigerants.get(name), drive="electric").kinds
        assert not any("PAG" in kind or "mineral" in kind for kind in kinds)


def test_residue_is_that_of_the_old_refrigerant():
    from_r12 = " ".join(text for text, _ in oil(R134A, old=refrigerants.get("R12")).residue)
    assert "Mineral oil" in from_r12
    assert "chlorine" in from_r12
    from_r404a = oil(refrigerants.get("R449A"), old=refrigerants.get("R404A")).residue
    assert from_r404a == ()
    assert oil(R134A).residue == ()


def test_seals_are_those_of_the_refrigerant():
    assert any("HNBR" in text for text, _ in oil(R134A).seals)
    assert not any("HNBR" in text for text, _ in oil(refrigerants.get("R12")).seals)
    for name in refrigerants.names():
        assert oil(refrigerants.get(name)).seals  # a new ring at every joint, at least


def test_what_nobody_has_read_is_marked():
    found = oil(R134A, old=refrigerants.get("R12"), parts=part_names())
    for _, by in (*found.how, *found.seals, *found.residue, found.of_drive):
        assert by.text or by.standing != "read"
    assert any(by.standing == "from memory" for _, by in found.seals)


@pytest.mark.parametrize(
    ("name", "system", "apply"),
    [
        ("R134a", None, True),
        ("R12", "car_ac", True),
        ("R1234yf", "off_road_ac", True),
        ("R134a", "bus_ac", False),
        ("R134a", "cooler", False),
        ("R290", None, False),
        ("R744", "car_ac", False),
        ("R410A", "split_ac", False),
    ],
)
def test_the_amounts_of_cars_are_told_only_of_cars(name, system, apply):
    found = oil(refrigerants.get(name), system=system, parts=part_names())
    assert bool(found.parts) == apply
    assert bool(found.instead) != apply
    assert any("Drain the old part" in text for text, _ in found.how) == apply
    assert found.how
    if not apply:
        assert math.isnan(found.low)
        told = " ".join(text for text, _ in found.instead)
        assert "maker's manual" in told
        assert ("sealed compressor" in told) == (system in {None, "cooler", "split_ac"})
        assert ("some litres" in told) == (system in {None, "bus_ac"})


@given(st.floats(500.001, 1e6))
def test_no_more_comes_out_of_a_part_than_a_circuit_holds(millilitre):
    with pytest.raises(InputError, match="cannot have come out of 'compressor'"):
        oil(R134A, parts=["compressor"], drained={"compressor": millilitre * ML})
    bus = oil(R134A, system="bus_ac", parts=["compressor"], drained={"compressor": millilitre * ML})
    assert bus.parts == ()


def test_what_a_circuit_may_hold_is_taken_and_less_than_nothing_is_not():
    assert part("compressor", 500 * ML).drained == 500 * ML
    assert part("compressor", 0.0).low == 0.0
    for system in ("car_ac", "bus_ac"):
        with pytest.raises(InputError, match="less than nothing"):
            oil(R134A, system=system, parts=["compressor"], drained={"compressor": -1 * ML})


@pytest.mark.parametrize(
    ("given_", "error", "words"),
    [
        ({"parts": ["condensor"]}, UnknownNameError, "did you mean 'condenser'"),
        ({"parts": ["condenser", "condenser"]}, InputError, "named twice"),
        ({"parts": ["condenser"], "drained": {"compressor": 60 * ML}}, InputError, "not among the replaced parts"),
        ({"parts": ["condenser"], "drained": {"pump": 60 * ML}}, UnknownNameError, "not a part"),
    ],
)
def test_what_cannot_be_is_told(given_, error, words):
    with pytest.raises(error, match=words):
        oil(R134A, **given_)
