"""A charge: what the scale must show, whether the cylinder pushes, and which steps belong to which machine."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from CoolProp import CoolProp
from hypothesis import given
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.errors import InputError
from twogauge.packs.words import WORKS
from twogauge.service.charge import plan
from twogauge.service.charge_parts import PORTS, Job
from twogauge.service.retrofit import RefusedError

R134A = refrigerants.get("R134a")
NAMES = st.sampled_from(["R134a", "R22", "R1234yf", "R410A", "R407C"])


def job(name="R134a", **given):
    return Job(refrigerants.get(name), **given)


def text(steps):
    return " ".join(step.text for step in steps)


def test_the_scale_shows_the_charge_and_what_stays_in_the_hoses():
    amount = plan(job(label=1.0, container=298.15, hoses=100e-6)).amount
    assert amount.start == amount.stop == amount.most == 1.0
    assert amount.in_hoses_liquid == pytest.approx(
        1e-4 * CoolProp.PropsSI("D", "T", 298.15, "Q", 0, "R134a"), rel=1e-5
    )
    assert amount.in_hoses_gas == pytest.approx(1e-4 * CoolProp.PropsSI("D", "T", 298.15, "Q", 1, "R134a"), rel=1e-5)


def test_a_usual_hose_holds_about_sixty_grams_of_liquid():
    # 1.8 m of 6 mm bore: 50 mL, 60 g of liquid and 1 to 2 g of gas, worked by hand from bore and density.
    amount = plan(job(label=1.0, container=298.15)).amount
    assert amount.hoses == pytest.approx(2 * math.pi * 0.003**2 * 1.8, rel=0.02)
    assert amount.in_hoses_liquid / 2 == pytest.approx(0.060, abs=0.002)
    assert 0.001 < amount.in_hoses_gas / 2 < 0.002


@given(st.floats(0.1, 5), st.floats(0.0, 0.99))
def test_what_is_in_it_already_is_taken_off(label, share):
    amount = plan(job(label=label, already=share * label)).amount
    assert amount.stop == pytest.approx(label * (1 - share))
    assert amount.most == label


def test_a_full_system_gets_nothing():
    with pytest.raises(InputError, match="nothing is to be added"):
        plan(job(label=1.0, already=1.0))


def test_a_retrofit_starts_low_and_has_a_limit():
    found = plan(job(label=1.0, old=refrigerants.get("R12")))
    assert found.amount.start == found.change.start < found.amount.stop == found.change.stop


def test_nothing_goes_on_top_of_another_refrigerant():
    with pytest.raises(RefusedError, match="no drop-in"):
        plan(job(label=1.0, inside=refrigerants.get("R12")))
    with pytest.raises(RefusedError, match="no drop-in"):
        plan(job("R22", label=1.0, system="split_ac", inside=refrigerants.get("R407C")))
    assert plan(job(label=1.0, inside=R134A)).amount.stop == 1.0


def test_the_second_half_of_a_retrofit_is_worked_out_like_any_other():
    whole, rest = (plan(job(label=1.0, old=refrigerants.get("R12"), already=a)).amount for a in (math.nan, 0.5))
    assert (rest.start, rest.stop, rest.most) == pytest.approx((whole.start - 0.5, whole.stop - 0.5, whole.most))


def test_a_hydrocarbon_is_refused_in_a_vehicle_and_charged_where_it_belongs():
    with pytest.raises(RefusedError, match="No hydrocarbon"):
        plan(job("R290", label=0.3))
    assert plan(job("R290", label=0.3, system="cooler")).amount.stop == 0.3


# The cylinder ------------------------------------------------------------------------------------------------------


@given(NAMES, st.floats(255, 313), st.floats(1e5, 1.5e6))
def test_it_pushes_where_its_saturation_is_above_the_low_side(name, container, low):
    found = plan(job(name, container=container, low=low))
    expected = float(refrigerants.get(name).saturation_pressure(container, "bubble"))
    assert found.push.pressure == pytest.approx(expected)
    assert (found.cooling.share_until_low > 0) == (expected > low)


@given(NAMES, st.floats(255, 310), st.floats(0.1, 3))
def test_a_warmer_cylinder_pushes_more_and_gives_more_before_it_stops(name, container, more):
    cool, warm = (plan(job(name, container=t)) for t in (container, container + more))
    assert warm.push.pressure > cool.push.pressure
    assert warm.cooling.share_until_low >= cool.cooling.share_until_low


def test_the_cylinder_is_as_warm_as_the_air_unless_told():
    assert plan(job(ambient=300.0)).push.container == 300.0
    assert plan(job(ambient=300.0, container=290.0)).push.container == 290.0


def test_warm_water_has_its_limit_and_its_pressure():
    push = plan(job()).push
    assert push.limit.value == pytest.approx(313.15)
    assert push.pressure_at_limit == pytest.approx(CoolProp.PropsSI("P", "T", 313.15, "Q", 0, "R134a"), rel=1e-4)


def test_liquid_in_the_suction_line_is_heavier_by_the_ratio_of_densities():
    d = [CoolProp.PropsSI("D", "T", 278.15, "Q", q, "R134a") for q in (0, 1)]
    assert plan(job()).push.liquid_to_gas == pytest.approx(d[0] / d[1], rel=1e-4)


def test_a_cylinder_that_holds_too_little_is_told():
    assert not plan(job(label=2.0, holds=1.0)).cooling.enough
    held = plan(job(label=0.5, holds=5.0, tare=12.0, container=295.0)).cooling
    assert held.enough
    assert 280 < held.after < 295
    bare = plan(job(label=0.5, holds=5.0, container=295.0)).cooling
    assert bare.after < held.after


def test_above_the_critical_temperature_nothing_is_made_up():
    with pytest.raises(InputError, match="critical temperature of 31 degC"):
        plan(job("R744", container=310.0))
    with pytest.raises(InputError, match="colder than anything known"):
        plan(job("R134a", container=180.0))


# The steps ---------------------------------------------------------------------------------------------------------


def test_gas_from_a_pure_one_and_liquid_from_a_blend():
    assert plan(job("R134a")).phase == "vapour"
    assert "gas only" in text(plan(job("R134a")).put_in)
    blend = plan(job("R407C"))
    assert blend.phase == "liquid"
    assert "leaves the cylinder as liquid" in text(blend.put_in)
    assert "Cylinder upright" not in text(blend.put_in)


@pytest.mark.parametrize("port", [None, *PORTS])
def test_liquid_is_allowed_only_where_an_accumulator_catches_it(port):
    steps = text(plan(job(port=port)).put_in)
    assert ("Ford allows liquid there" in steps) == (port == "accumulator")
    assert ("gas only" in steps) == (port != "accumulator")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"metering": "orifice_tube"}, "accumulator about equally cold"),
        ({"metering": "expansion_valve"}, "clear sight glass proves nothing"),
        ({"metering": "expansion_valve", "liquid_store": "accumulator"}, "accumulator about equally cold"),
        ({"metering": "capillary"}, "a few grams"),
        ({"system": "split_ac", "metering": "expansion_valve"}, "Charge by subcooling"),
        ({"system": "split_ac", "metering": "orifice_tube"}, "Charge by superheat"),
    ],
)
def test_how_it_is_judged_follows_from_the_machine(given, words):
    assert words in text(plan(job(**given)).finish)


@pytest.mark.parametrize(
    ("ambient", "system", "day"),
    [
        (283.15, "car_ac", "cold"),
        (289.2, "car_ac", "between"),
        (294.2, "car_ac", "warm"),
        (287.0, "split_ac", "warm"),
        (math.nan, "car_ac", "unknown"),
    ],
)
def test_the_day_is_judged_by_what_makers_ask(ambient, system, day):
    found = plan(job(ambient=ambient, system=system))
    assert found.day == day
    assert ("Judge it after 10 minutes" in text(found.finish)) == (day != "cold")


@given(
    st.sampled_from(["R134a", "R407C", "R513A", "R12"]),
    st.sampled_from(["car_ac", "split_ac"]),
    st.sampled_from([None, "orifice_tube", "expansion_valve", "capillary"]),
    st.sampled_from([None, *PORTS]),
    st.sampled_from([math.nan, 0.2]),
)
def test_every_machine_gets_a_way_to_put_it_in_and_to_judge_it(name, system, metering, port, already):
    found = plan(job(name, label=1.0, system=system, metering=metering, port=port, already=already))
    steps = text(found.put_in)
    for part in ("scale to zero", "High-side valve shut", "shut the cylinder first"):
        assert part in steps
    assert len(found.finish) >= 2
    assert {work for step in found.put_in for work in step.works} <= set(WORKS)
    for step in (*found.put_in, *found.finish):
        assert step.text.endswith(".")
        assert step.source.standing != "read" or step.source.text


@given(st.floats(0.1, 20), st.floats(1.01, 3))
def test_more_on_the_label_is_more_on_the_scale(label, factor):
    less, more = (plan(job(label=x, container=295.0)).amount for x in (label, factor * label))
    assert more.stop > less.stop
    assert more.in_hoses_gas == less.in_hoses_gas


def test_nothing_known_still_tells_how():
    found = plan(job())
    assert found.amount is None
    assert found.put_in
    assert plan(replace(found.job, label=1.0)).amount is not None


@pytest.mark.parametrize("name", ["R134a", "R410A", "R407C"])
def test_no_liquid_goes_through_a_port_at_the_compressor(name):
    system = "split_ac"
    told = {port: text(plan(job(name, label=2.0, system=system, port=port)).put_in) for port in (*PORTS, None)}
    assert len(set(told.values())) >= 3
    assert "short bursts" not in told["compressor"]
    if name == "R134a":
        assert "Never turn the cylinder over" in told["compressor"]
    else:
        assert "no liquid there, not in the shortest burst" in told["compressor"]
        assert "high side with the compressor off" in told["compressor"]
        assert "short bursts" in told["suction_line"]
        assert "Look where the low-side port sits" in told[None]
        assert "low-side valve open" not in told["compressor"]


def test_a_compressor_that_is_driven_electrically_follows_no_engine():
    belt, electric = (text(plan(job(label=1.0, drive=drive)).put_in) for drive in ("belt", "electric"))
    assert "1500 rpm" in belt
    assert "rpm" not in electric
    assert "trained for high voltage" in electric
    assert "commanded on" in electric
    assert "commanded on" not in belt


@pytest.mark.parametrize("job_", ["new", "retrofit", "top_up"])
@pytest.mark.parametrize("port", [*PORTS, None])
@pytest.mark.parametrize("name", ["R134a", "R407C"])
def test_a_few_words_are_enough_for_the_way_in(name, port, job_):
    already = 0.2 if job_ == "top_up" else math.nan
    old = refrigerants.get("R22") if job_ == "retrofit" else None
    found = plan(job(name, label=1.0, system="split_ac", port=port, already=already, old=old))
    brief = [step.brief for step in found.put_in if step.brief]
    assert 4 <= len(brief) <= 6
    assert all(word in " ".join(brief) for word in ("scale", "high-side valve shut" if name == "R134a" else "liquid"))


@pytest.mark.parametrize("system", ["car_ac", "split_ac"])
def test_the_law_is_named_by_place_and_the_rest_is_left_to_the_place(system):
    law = plan(job("R134a", label=1.0, system=system)).law
    assert [each.place for each in law] == ["USA", "European Union", "Great Britain", "Canada", "anywhere"]
    assert "local" in law[-1].text or "law of the place decides" in law[-1].text
    assert ("609" in law[0].text) == (system == "car_ac")
    assert {each.source.standing for each in law[1:4]} == {"from memory"}
