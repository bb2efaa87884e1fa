"""Plans: every step of what ships can be followed, figures come from the service modules, and a shop can change them."""

from __future__ import annotations

import shlex
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twogauge.cli.app import COMMANDS
from twogauge.diagnosis import program_for
from twogauge.errors import InputError, UnknownNameError
from twogauge.packs.stack import stack_on_built_in
from twogauge.packs.words import PLAN_VALUES
from twogauge.quantities import UnitSet, standard_atmosphere
from twogauge.refrigerants import get
from twogauge.service.job import KINDS, TESTS
from twogauge.service.plan import Conditions, planned, values
from twogauge.service.plan_criteria import choices
from twogauge.service.plan_steps import NAMED, check_plan, in_order

PROGRAM = program_for()
PLANS = PROGRAM.stack.plans
BUS = Conditions(
    refrigerant=get("R134a"),
    old=get("R12"),
    label=2.5 * 0.45359237,
    label_text="2 lb 8 oz",
    ambient=302.594,
    ambient_text="85F",
    humidity=0.5,
    barometer=standard_atmosphere(1524.0),
    air_told=True,
    words={"system": "bus_ac", "metering": "orifice_tube"},
    job="bus 31.yaml",
)


def steps(**after):
    return {name: SimpleNamespace(after=behind) for name, behind in after.items()}


def order(**after):
    return [name for name, _ in in_order(steps(**after))]


def test_steps_stand_as_written_or_behind_the_one_they_name():
    assert order(a=None, b=None, c=None) == ["a", "b", "c"]
    assert order(a=None, b=None, c="a") == ["a", "c", "b"]
    assert order(a=None, b=None, c="a", d="a") == ["a", "c", "d", "b"]
    assert order(a=None, b=None, c="a", d="c", e="a") == ["a", "c", "d", "e", "b"]
    assert order(a="z", b=None) == ["a", "b"]


@given(st.lists(st.integers(0, 7), min_size=1, max_size=8))
def test_no_step_is_ever_lost(behind):
    names = [f"s{i}" for i in range(len(behind))]
    tangled = {name: SimpleNamespace(after=f"s{j}") for name, j in zip(names, behind, strict=True)}
    assert sorted(name for name, _ in in_order(tangled)) == sorted(names)


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("conditions", [Conditions(), BUS], ids=["nothing known", "a bus"])
def test_no_brace_is_left_and_each_caution_is_told_once(name, conditions):
    found = planned(name, conditions, PROGRAM)
    told = [caution.caution for step in found.steps for caution in step.cautions]
    assert len(told) == len(set(told))
    assert "follow_maker" in {caution.caution for caution in found.steps[0].cautions}
    for step in found.steps:
        text = f"{step.do} {step.why} {step.passes} {step.command} {step.record}"
        assert "{" not in text
        assert "nan" not in text.split()
        assert step.source


@pytest.mark.parametrize("name", PLANS)
def test_what_is_to_be_typed_can_be_typed(name):
    known = {command.name for command in COMMANDS}
    for step in planned(name, BUS, PROGRAM).steps:
        if step.command:
            program, command, *_ = shlex.split(step.command)
            assert (program, command in known) == ("twogauge", True), step.command
        if step.record:
            did, *behind = shlex.split(step.record)
            assert len(behind) == len(KINDS[did].needs), step.record
            if did == "test":
                assert behind[0] in TESTS


def test_every_value_is_named_by_some_plan():
    texts = [
        getattr(step, key) or ""
        for loaded in PLANS.values()
        for step in loaded.entry.steps.values()
        for key in ("do", "why", "passes", "command", "record")
    ]
    named = {name for text in texts for name in NAMED.findall(text)}
    assert named <= set(PLAN_VALUES)
    # The last four stand in others, and are there for a shop's own plans.
    assert set(PLAN_VALUES) - named <= {"job", "boiling_vacuum", "low_today", "high_today", "vent_today"}


def test_the_figures_are_those_of_the_service_modules():
    known = values(BUS, PROGRAM)
    # 1524 m (5000 ft): 84.3 kPa of air, which is 24.9 inHg; water at 29.4 degC boils at 4.1 kPa, 1.2 inHg above nothing.
    assert known["perfect_vacuum"] == "24.9 inHg"
    assert known["boiling_vacuum"] == "23.7 inHg"
    # 80 to 90 % of 2.5 lb.
    assert known["charge"] == "2 lb 0.0 oz to 2 lb 4.0 oz"
    assert known["label"] == "'2 lb 8 oz'"
    assert known["old_oil"] == "the old mineral oil"
    # The published table of R-134a has 95.2 psi at 85 degF by a sea-level gauge; here the air is 2.4 psi lighter.
    assert float(known["standing"].split()[0]) == pytest.approx(95.2 + 2.47, abs=0.3)


@given(st.floats(0.0, 3000.0), st.floats(1.0, 1000.0))
def test_the_higher_the_place_the_less_a_dial_can_show(height, more):
    low, high = (
        values(
            Conditions(barometer=standard_atmosphere(metres), air_told=True, ambient=300.0, units=UnitSet.SI), PROGRAM
        )
        for metres in (height, height + more)
    )
    for key in ("perfect_vacuum", "boiling_vacuum"):
        one, other = (float(each[key].split()[0]) for each in (low, high))
        assert other >= one  # both negative: nearer to zero


def test_what_is_not_known_stands_there_in_words():
    found = planned("leak_repair", Conditions(), PROGRAM)
    text = " ".join(step.do for step in found.steps)
    assert PLAN_VALUES["charge"] in text
    assert PLAN_VALUES["refrigerant"] in text
    assert found.known == {}


def test_sea_level_is_not_claimed_where_nobody_said_so():
    known = values(Conditions(ambient=300.0), PROGRAM)
    assert "perfect_vacuum" not in known
    assert known["boiling_vacuum"].endswith("at sea level")


@pytest.mark.parametrize(("old", "new"), [("R12", "R290"), ("R12", "R1234yf")])
def test_a_change_that_must_not_be_made_is_refused(old, new):
    with pytest.raises(InputError, match="must not replace"):
        planned("retrofit", Conditions(refrigerant=get(new), old=get(old)), PROGRAM)


def test_the_old_refrigerant_asks_for_its_care_too():
    without = planned("retrofit", Conditions(refrigerant=get("R134a")), PROGRAM)
    told = planned("retrofit", BUS, PROGRAM)
    assert "phosgene_from_chlorine" in {c.caution for s in told.steps for c in s.cautions}
    assert "phosgene_from_chlorine" not in {c.caution for s in without.steps for c in s.cautions}


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ({"liquid_store": "receiver"}, "receiver"),
        ({"metering": "orifice_tube"}, "accumulator"),
        ({"metering": "expansion_valve", "liquid_store": "accumulator"}, "accumulator"),
        ({"liquid_store": "none", "metering": "capillary"}, "PART"),
        ({}, "PART"),
    ],
)
def test_the_drier_is_asked_for_where_it_sits(words, part):
    (drier,) = [s for s in planned("leak_repair", Conditions(words=words), PROGRAM).steps if s.id == "drier"]
    assert drier.command.endswith(f"--part {part}")


def test_below_freezing_there_is_ice_and_no_boiling():
    warm, cold = (values(Conditions(ambient=kelvin), PROGRAM)["water_boils"] for kelvin in (275.0, 270.0))
    assert warm.startswith("water boils at 35")
    assert "ice" in cold
    assert "boils" not in cold


def test_on_a_day_too_cold_to_judge_no_range_is_told():
    def usual(system, kelvin):
        known = values(Conditions(refrigerant=get("R1234yf"), ambient=kelvin, words={"system": system}), PROGRAM)
        return known["usual_today"]

    assert usual("car_ac", 303.0).startswith("Usual today: low side ")
    assert usual("car_ac", 268.0).startswith("It is too cold to judge")
    assert "psi to" not in usual("car_ac", 268.0)
    assert usual("cooler", 268.0).startswith("Usual today: high side ")  # no gate of vehicles


def test_cautions_are_those_of_the_machine():
    def told(system):
        conditions = Conditions(refrigerant=get("R134a"), words={"system": system})
        return {c.caution for step in planned("leak_repair", conditions, PROGRAM).steps for c in step.cautions}

    both = {"mains_voltage", "high_voltage_compressor"}
    assert told("car_ac") & both == {"high_voltage_compressor"}
    assert told("cooler") & both == {"mains_voltage"}
    assert {c.caution for s in planned("leak_repair", Conditions(), PROGRAM).steps for c in s.cautions} >= both


def test_air_in_the_circuit_is_no_leak_and_goes_to_the_recharge_plan():
    (rest,) = [step for step in planned("no_cooling", BUS, PROGRAM).steps if step.id == "at_rest"]
    below, above = rest.passes.split("Far above")
    assert "leak_repair" in below
    assert "leak_repair" not in above
    assert "recharge" in above


def cautions_at(name, **known):
    words = {"system": "split_ac"}
    steps = planned(name, Conditions(words=words, **{k: get(v) for k, v in known.items()}), PROGRAM).steps
    return {step.id: {caution.caution for caution in step.cautions} for step in steps}


@pytest.mark.parametrize("refrigerant", ["R1234yf", "R32", "R152a", "R290"])
def test_what_burns_is_told_where_it_is_searched_recovered_and_brazed(refrigerant):
    told = cautions_at("leak_repair", refrigerant=refrigerant)
    assert "flammable_search" in told["search"]
    assert "flammable_refrigerant" in told["recover"]
    assert told["braze"] == {"brazing_purged", "flammable_brazing"}
    everywhere = set().union(*told.values())
    assert ("no_flames" in everywhere) == (refrigerant != "R290")
    assert "phosgene_from_chlorine" not in everywhere


def test_what_does_not_burn_is_brazed_with_nitrogen_as_well():
    told = cautions_at("leak_repair", refrigerant="R410A")
    assert told["braze"] == {"brazing_purged"}
    assert not any("flammable" in caution for caution in set().union(*told.values()))


def test_in_a_retrofit_each_step_is_careful_with_what_is_inside():
    told = cautions_at("retrofit", old="R454B", refrigerant="R410A")
    assert "flammable_refrigerant" in told["recover"]
    assert "flammable_brazing" in told["braze"]
    assert "flammable_refrigerant" not in told["charge"]


@pytest.mark.parametrize("name", ["leak_repair", "recharge", "retrofit"])
def test_nobody_starts_the_compressor_in_the_vacuum_that_is_being_pulled(name):
    assert "no_start_in_a_vacuum" in cautions_at(name, old="R22", refrigerant="R407C")["evacuate"]


def test_a_step_for_other_machines_is_left_out():
    there = {step.id for step in planned("retrofit", BUS, PROGRAM).steps}
    building = Conditions(words={"system": "split_ac"})
    assert there - {step.id for step in planned("retrofit", building, PROGRAM).steps} == {"switch", "fittings"}
    car = {step.id for step in planned("retrofit", Conditions(words={"system": "car_ac"}), PROGRAM).steps}
    assert there - car == {"braze"}


def test_ticks_come_from_the_sheet_and_unknown_plans_are_named():
    found = planned("recharge", Conditions(), PROGRAM, done=("recover", "no_such_step"))
    assert [step.id for step in found.steps if step.done] == ["recover"]
    with pytest.raises(UnknownNameError, match="did you mean 'recharge'"):
        planned("rechrge", Conditions(), PROGRAM)


def test_criteria_of_the_shop_take_the_place_of_the_published_ones(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\ncriteria:\n  our_hold:\n    title: It rises by no more than 200 microns in 30 minutes\n"
        "    test: vacuum_hold\n    rises: 200 micron\n    within: 30 min\n    ours: yes\n    source: our own\n",
        encoding="utf-8",
    )
    (hold,) = [s for s in planned("recharge", BUS, program_for((str(tmp_path),))).steps if s.id == "hold"]
    assert [(each.criterion.id, each.others) for each in hold.criteria] == [("our_hold", ())]
    assert "set by the shop" in hold.criteria[0].why


def test_where_published_criteria_disagree_the_strictest_counts_for_each_gauge():
    evacuate, hold = (
        {s.id: s for s in planned("recharge", BUS, PROGRAM).steps}[name].criteria for name in ("evacuate", "hold")
    )
    assert [(c.criterion.id, [other.id for other in c.others]) for c in evacuate] == [
        ("vacuum_29_inhg", ["vacuum_28_inhg", "vacuum_27_inhg"]),
        ("vacuum_500_microns", []),
        ("pump_90_min", ["pump_45_min", "pump_30_min", "pump_15_min"]),
    ]
    assert [(c.criterion.gauge, c.criterion.id) for c in hold] == [
        ("dial", "hold_1_inhg_in_5_min"),
        ("vacuum_gauge", "hold_1500_microns_20_min"),
    ]
    assert "passes the others" in evacuate[0].why
    assert evacuate[1].why == ""


def test_the_strictest_is_not_said_to_cover_what_it_does_not(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\ncriteria:\n  quick:\n    title: Quick\n    test: vacuum_hold\n    gauge: dial\n"
        "    rises: 0.5 inHg\n    within: 1 min\n    source: common practice\n",
        encoding="utf-8",
    )
    dial, _ = choices(program_for((str(tmp_path),)).stack, "vacuum_hold", "car_ac")
    assert dial.criterion.id == "quick"
    assert dial.why
    assert "passes the others" not in dial.why


@pytest.mark.parametrize("name", PLANS)
def test_a_step_that_does_not_apply_takes_no_caution_with_it(name):
    def told(steps):
        return sorted(caution.caution for step in steps for caution in step.cautions)

    whole = planned(name, BUS, PROGRAM).steps
    for left in whole:
        steps = planned(name, BUS, PROGRAM, (), {left.id: "new machine"}).steps
        assert {step.id: step.not_applicable for step in steps if step.not_applicable} == {left.id: "new machine"}
        assert told(steps) == told(whole)
        here = {caution.caution for step in steps if step.not_applicable for caution in step.cautions}
        wanted = {c for step in steps if not step.not_applicable for c in PLANS[name].entry.steps[step.id].cautions}
        assert not here & wanted  # what another step asks for stands there


def test_a_shop_adds_changes_and_leaves_out_steps(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\nextend:\n  recharge:\n    note: We tag.\n    steps:\n      tag:\n        after: recover\n"
        "        do: Tag the {refrigerant} cylinder.\n        why: So that it is known.\n        source: ours\n"
        "adjust:\n  leak_repair:\n    note: Not here.\n    steps:\n      search_again:\n        left_out: yes\n"
        "      repair:\n        do: Ask the foreman.\n",
        encoding="utf-8",
    )
    program = program_for((str(tmp_path),))
    found = planned("recharge", BUS, program)
    ids = [step.id for step in found.steps]
    assert ids[ids.index("recover") + 1] == "tag"
    assert "Tag the R-134a cylinder." in [step.do for step in found.steps]
    assert found.notes == (("shop", "We tag."),)
    other = {step.id: step for step in planned("leak_repair", BUS, program).steps}
    assert "search_again" not in other
    assert other["repair"].do == "Ask the foreman."
    assert other["repair"].why == {s.id: s for s in planned("leak_repair", BUS, PROGRAM).steps}["repair"].why


def test_what_is_wrong_with_a_plan_is_told():
    def step(after=None, do="Do it."):
        return SimpleNamespace(do=do, why="", passes=None, command=None, record=None, after=after)

    def said(**those):
        return [(path, message) for path, _, message in check_plan(SimpleNamespace(steps=those))]

    assert said(a=step(), b=step("a")) == []
    assert "did you mean 'refrigerant'" in said(a=step(do="Take {refrigerent}."))[0][1]
    assert "nothing else" in said(a=step(do="Take {refrigerant."))[0][1]
    assert "nothing else" in said(a=step(do="Take }{."))[0][1]
    assert "is no step" in said(a=step("b"))[0][1]
    assert {path[1] for path, message in said(a=step("b"), b=step("a")) if "follows itself" in message} == {"a", "b"}
    assert said(a=step("a"))


def test_nothing_is_formatted():
    for nasty in ("{refrigerant.__class__}", "{0}", "{}", "{refrigerant!r}", "{refrigerant:>99}"):
        step = SimpleNamespace(do=nasty, why="", passes=None, command=None, record=None, after=None)
        assert list(check_plan(SimpleNamespace(steps={"a": step})))


def test_the_built_in_plans_are_sound_as_read_from_their_files():
    stack = stack_on_built_in([])
    for loaded in stack.plans.values():
        assert list(check_plan(loaded.entry)) == []
