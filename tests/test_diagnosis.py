"""What a person is told about one reading, on a small pack of its own, and on the built-in one where that matters."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import strategies as mine
from twogauge import refrigerants
from twogauge.diagnosis import OUTDONE_AT_MOST, UNEXPLAINED_FROM, diagnose
from twogauge.quantities import Dimension
from twogauge.reading import Reading, ReadingError

GOGGLES = "Wear goggles; follow the maker's procedure."
PACK = {
    "pack": "workshop",
    "edition": "3",
    "cautions": {"goggles": {"text": GOGGLES, "source": "common practice"}},
    "faults": {
        "normal": mine.fault_entry("common", nothing_wrong="yes", title="Nothing wrong"),
        "smothered": mine.fault_entry(
            "common",
            title="No air",
            confirm=["Hold paper before it.", {"text": "Climb on the roof.", "applies_to": {"system": "bus_ac"}}],
            repair=["Clean it."],
            serious="damage",
        ),
        "thirsty": mine.fault_entry("common", title="Not enough in it", cautions=["goggles"]),
        "old_valve": mine.fault_entry("rare", applies_to={"refrigerant": ["R12"]}),
    },
    "checks": {
        "paper": mine.check_entry(("sticks", "falls"), "glance"),
        "oil": mine.check_entry(("yes", "no"), "easy") | {"cautions": ["goggles"]},
        "weigh_it": mine.check_entry(("yes", "no"), "much"),
        "tap_it": mine.check_entry(("yes", "no"), "glance"),
    },
    "bands": mine.BANDS,
    "gates": {
        "too_cold": mine.gate_entry(
            {"ambient": {"below": "5 degC"}}, "everything", because="The air is {ambient}.", instead="Warm it up."
        )
    },
    "rules": {
        "high_high": mine.rule_entry(
            {"high_side_level": {"is": "high"}},
            {"smothered": "strongly for", "normal": "strongly against", "thirsty": "against"},
            "high_side",
            title="The high side is high",
            otherwise={"smothered": "against"},
            because="It condenses {condensing_over_ambient} above the air (at {condensing_saturation}).",
        ),
        "high_high_too": mine.rule_entry(
            {"high_side_level": {"is": "high"}}, {"smothered": "for"}, "high_side", title="Indeed"
        ),
        "low_low": mine.rule_entry(
            {"low_side_level": {"is": "low"}},
            {"thirsty": "strongly for", "normal": "against"},
            "low_side",
            because="The low side is {low_side_level} at {low_side}; paper: {paper}; metering: {metering}.",
        ),
        "paper_falls": mine.rule_entry(
            {"paper": {"is": "falls"}},
            {"smothered": "decisively for"},
            "air",
            otherwise={"smothered": "strongly against"},
            because="{paper}",
        ),
        "oil_seen": mine.rule_entry({"oil": {"is": "yes"}}, {"thirsty": "strongly for"}, "leaks"),
        "weighed": mine.rule_entry({"weigh_it": {"is": "yes"}}, {"thirsty": "strongly for"}, "content"),
        "tapped": mine.rule_entry({"tap_it": {"is": "yes"}}, {"old_valve": "decisively for"}, "sounds"),
        "only_bus": mine.rule_entry(
            {"suction_line": {"below": "0 degC"}},
            {"thirsty": "decisively for"},
            "ice",
            applies_to={"system": "bus_ac"},
        ),
    },
}
HOT = {"refrigerant": "R134a", "low_side": "30 psi", "high_side": "420 psi", "ambient": "90 degF"}


def told(**fields):
    return diagnose(Reading(fields), program=mine.compiled(PACK))


def of(diagnosis, fault):
    return next(ranked for ranked in diagnosis.ranking if ranked.fault == fault)


def shown(diagnosis, name):
    return next(each for each in diagnosis.derived if each.name == name)


# -- ranking and reasons ------------------------------------------------------------------------------------------


def test_the_first_carries_all_that_is_needed_to_act():
    found = told(**HOT)
    assert found.verdict == "fault"
    first = found.first
    assert (first.fault, first.title, first.serious) == ("smothered", "No air", "damage")
    assert first.confirm == ("Hold paper before it.",)
    assert first.repair == ("Clean it.",)
    assert first.weight == pytest.approx(10.0, abs=0.1)
    assert found.packs == (("workshop", 3),)


def test_advice_for_another_kind_of_machine_is_left_out():
    assert told(**HOT, system="bus_ac").first.confirm == ("Hold paper before it.", "Climb on the roof.")
    assert told(**HOT, system="car_ac").first.confirm == ("Hold paper before it.",)


def test_a_fault_of_another_refrigerant_is_not_listed():
    assert "old_valve" not in {r.fault for r in told(**HOT).ranking}
    assert "old_valve" in {r.fault for r in told(low_side="low").ranking}


def test_a_reason_says_what_is_seen_in_the_readers_units():
    reason = of(told(**HOT), "smothered").reasons[0]
    at = float(refrigerants.get("R134a").saturation_temperature(420 * 6894.757293168 + 101_325.0))
    fahrenheit, over = at * 1.8 - 459.67, (at - 305.3722) * 1.8
    assert reason.text == f"It condenses {over:.0f} degF above the air (at {fahrenheit:.0f} degF)."
    assert (reason.rule, reason.title, reason.topic) == ("high_high", "The high side is high", "high_side")
    assert (reason.pack, reason.source) == ("workshop", "from memory")
    assert reason.degree > 0.98
    metric = {"units": "metric", "refrigerant": "R134a", "high_side": "29 bar", "ambient": "32.2 degC"}
    assert " degC)." in of(told(**metric), "smothered").reasons[0].text


def test_a_reason_that_fails_says_so_and_does_not_argue():
    found = told(**HOT | {"high_side": "low"})
    (reason,) = of(found, "smothered").reasons
    assert reason.title == "Not so: The high side is high"
    assert reason.text == ""
    assert reason.weight == pytest.approx(-6.0, abs=0.1)
    assert reason.degree < 0.02


def test_of_one_topic_the_weaker_reason_is_kept_and_marked():
    strong, weak = of(told(**HOT), "smothered").reasons
    assert (strong.rule, strong.counted) == ("high_high", True)
    assert (weak.rule, weak.counted) == ("high_high_too", False)


def test_of_thousands_of_outdone_reasons_only_the_strongest_are_written():
    rules = {
        f"r{i}": mine.rule_entry({"paper": {"is": "falls"}}, {"smothered": f"{i / 100:.2f} dB"}, "same")
        for i in range(100, 400)
    }
    pack = PACK | {"rules": rules}
    reasons = of(diagnose(Reading(HOT, paper="falls"), program=mine.compiled(pack)), "smothered").reasons
    assert [r.rule for r in reasons if r.counted] == ["r399"]
    outdone = [r.rule for r in reasons if not r.counted]
    assert outdone == [f"r{i}" for i in range(398, 398 - OUTDONE_AT_MOST, -1)]


def test_a_bracket_whose_value_is_not_known_is_left_out():
    reason = of(told(high_side="high"), "smothered").reasons[0]
    assert reason.text == "It condenses not known above the air."


def test_names_in_a_reason_become_values_words_and_answers():
    cold = HOT | {"low_side": "15 inHg vac", "high_side": "200 psi", "metering": "orifice_tube"}
    (reason,) = of(told(**cold, paper="falls"), "thirsty").reasons
    assert reason.text == "The low side is low at 15.0 inHg vac; paper: it is falls; metering: orifice tube."
    (reason,) = of(told(**cold | {"metering": None}), "thirsty").reasons
    assert reason.text == "The low side is low at 15.0 inHg vac; paper: not looked at; metering: not known."


def test_what_the_first_leaves_unexplained_is_said():
    both = told(**HOT, paper="falls", oil="yes")
    assert both.first.fault == "smothered"
    assert [(r.rule, r.weight) for r in both.unexplained] == [("oil_seen", 0.0)]  # speaks for others only
    against = told(**HOT | {"low_side": "low"}, oil="yes", weigh_it="yes")
    assert against.first.fault == "thirsty"
    reasons = {r.rule: r.weight for r in against.unexplained}
    assert reasons["high_high"] <= -UNEXPLAINED_FROM
    assert not any(r.topic == "leaks" for r in against.unexplained)


@pytest.mark.parametrize(("weight", "worth_a_sentence"), [("2 dB", False), ("slightly", True), ("4 dB", True)])
def test_what_speaks_slightly_against_the_first_is_unexplained_and_less_is_not(weight, worth_a_sentence):
    """A slight reason is 3 dB; of what speaks for others only, twice that is told."""
    against = f"-{weight}" if weight.endswith("dB") else f"{weight} against"
    twice = {"2 dB": "4 dB", "slightly": "for", "4 dB": "8 dB"}[weight]
    rules = {
        "leads": mine.rule_entry({"paper": {"is": "falls"}}, {"smothered": "decisively for"}, "one"),
        "objects": mine.rule_entry({"oil": {"is": "yes"}}, {"smothered": against}, "two"),
        "elsewhere": mine.rule_entry({"tap_it": {"is": "yes"}}, {"thirsty": twice}, "three"),
    }
    reading = Reading(paper="falls", oil="yes", tap_it="yes")
    found = diagnose(reading, program=mine.compiled(PACK | {"rules": rules, "gates": {}}))
    assert found.first.fault == "smothered"
    assert [r.rule for r in found.unexplained] == (["objects", "elsewhere"] if worth_a_sentence else [])


def test_those_that_cannot_be_told_apart_are_named_together():
    found = told(**HOT | {"low_side": "low"})
    assert found.verdict == "fault"
    assert told(paper="sticks").close[0] in {"normal", "thirsty"}
    tied = told(oil="no")
    assert set(tied.close) == {"normal", "smothered", "thirsty"}


# -- gates and what to do instead -----------------------------------------------------------------------------------


def test_a_shut_gate_says_why_and_what_to_do_instead():
    found = told(**HOT | {"ambient": "-20 degC", "high_side": "100 psi"})
    assert found.verdict == "gated"
    (gate,) = found.gates
    assert (gate.gate, gate.text, gate.instead) == ("too_cold", "The air is -4 degF.", "Warm it up.")
    assert gate.degree > 0.99
    assert told(**HOT).gates == ()


# -- what was computed ----------------------------------------------------------------------------------------------


def test_normal_is_shown_as_pressures_where_they_can_be_had():
    side = shown(told(**HOT), "high_side")
    what = refrigerants.get("R134a")
    assert side.judged_by == "usual"
    assert side.level == "high"
    expected = [float(what.saturation_pressure(305.3722 + k)) for k in (12.0, 40.0)]
    assert side.normal == pytest.approx(tuple(expected), rel=1e-5)
    low = shown(told(**HOT), "low_side")
    assert low.normal == pytest.approx(tuple(float(what.saturation_pressure(k)) for k in (259.15, 287.15)), rel=1e-5)
    assert (low.level, low.judged_by) == ("normal", "usual")


def test_the_makers_range_is_shown_as_it_was_given():
    found = told(**HOT, spec={"high_side": ["200 psi", "250 psi"]})
    side = shown(found, "high_side")
    assert side.judged_by == "spec"
    assert [found.show(Dimension.PRESSURE, end) for end in side.normal] == ["200.0 psi", "250.0 psi"]


def test_a_baseline_is_a_narrow_band_around_what_it_was():
    side = shown(told(**HOT, baseline=HOT), "high_side")
    assert (side.judged_by, side.level) == ("baseline", "normal")
    assert side.normal[0] < side.value < side.normal[1]


@pytest.mark.parametrize("left_out", ["ambient", "refrigerant"])
def test_no_band_is_shown_where_it_cannot_be_had(left_out):
    side = shown(told(**{k: v for k, v in HOT.items() if k != left_out}), "high_side")
    assert (side.normal, side.level, side.judged_by) == (None, "", "")


def test_a_band_outside_the_curve_is_not_shown_as_pressures():
    # 12 to 40 K over 25 degC air is above the critical temperature of carbon dioxide, 31 degC.
    found = told(refrigerant="R744", high_side="65 bar", ambient="25 degC")
    assert shown(found, "high_side").normal is None


def test_what_was_only_told_in_words_is_not_shown_as_a_number():
    found = told(refrigerant="R134a", low_side="low", high_side="high", ambient="90 degF")
    assert {each.name for each in found.derived} == set()


def test_what_is_missing_says_why():
    missing = dict(told(low_side="30 psi", system="bus_ac").missing)
    assert missing["ambient"] == "ambient was not given"
    assert missing["suction_line"] == "suction_line was not given"
    assert "low_side" not in missing
    assert "paper" not in missing  # a check is proposed instead
    assert "suction_line" not in dict(told(low_side="30 psi").missing)  # its rule is for buses


def test_a_dial_is_shown_as_the_reader_has_it():
    assert told(**HOT).show(Dimension.PRESSURE, 101_325.0) == "0.0 psi"
    assert told(**HOT, units="metric").show(Dimension.PRESSURE, 301_325.0) == "2.00 bar"
    assert told(**HOT, barometer="900 hPa").show(Dimension.PRESSURE, 90_000.0) == "0.0 psi"
    assert told(**HOT).show(Dimension.TEMPERATURE, 273.15) == "32 degF"
    assert told(**HOT).show(Dimension.TEMPERATURE_DIFFERENCE, 10.0, 1) == "18.0 degF"


# -- warnings and cautions --------------------------------------------------------------------------------------


def test_assumptions_are_told():
    assert any("sea level is assumed" in text for text in told(**HOT).warnings)
    assert any("car_ac is assumed" in text for text in told(**HOT).warnings)
    assert not told(**HOT, altitude="0 m", system="bus_ac").warnings


def test_a_refrigerant_that_is_not_well_checked_is_told():
    graded = next(s for s in refrigerants.summaries() if s.grade != "checked")
    warnings = told(refrigerant=graded.id, ambient="20 degC").warnings
    assert any(f"graded '{graded.grade}'" in text for text in warnings)


def test_a_pressure_above_the_critical_point_is_told_once():
    found = told(refrigerant="R744", low_side="30 bar", high_side="95 bar", ambient="30 degC")
    assert sum("above the critical point" in text for text in found.warnings) == 1


def test_every_caution_of_the_advice_stands_once():
    found = told(**HOT | {"high_side": "normal", "low_side": "low"})
    assert found.first.fault == "thirsty"
    assert [c.text for c in found.first.cautions] == [GOGGLES]
    texts = [c.text for c in found.cautions]
    assert texts.count(GOGGLES) == 1
    assert set(refrigerants.get("R134a").cautions) <= set(texts)
    assert len(texts) == len(set(texts))


def test_the_first_three_warn_and_the_fourth_does_not():
    """The advice printed is that of the first three, where each is not too unlikely."""
    names = ("first", "second", "third", "fourth")
    pack = {
        "pack": "warning",
        "cautions": {f"of_{n}": {"text": f"Mind the {n}.", "source": "common practice"} for n in names},
        "faults": {"normal": mine.fault_entry("very rare", nothing_wrong="yes")}
        | {n: mine.fault_entry("common", cautions=[f"of_{n}"]) for n in names},
        "checks": {"paper": mine.check_entry(("sticks", "falls"))},
        "rules": {
            "seen": mine.rule_entry(
                {"paper": {"is": "falls"}},
                dict(zip(names, ("8 dB", "7 dB", "6 dB", "5 dB"), strict=True)),
                "air",
            )
        },
    }
    found = diagnose(Reading(paper="falls"), program=mine.compiled(pack))
    assert [r.fault for r in found.ranking][:4] == list(names)
    assert found.ranking[3].probability > 0.1
    assert [c.caution for c in found.cautions] == ["of_first", "of_second", "of_third"]


def test_a_third_that_is_unlikely_does_not_warn():
    pack = PACK | {"rules": {"air": mine.rule_entry({"paper": {"is": "falls"}}, {"smothered": "20 dB"}, "air")}}
    found = diagnose(
        Reading(paper="falls"),
        program=mine.compiled(pack | {"checks": {"paper": PACK["checks"]["paper"]}, "gates": {}}),
    )
    assert of(found, "thirsty").probability < 0.1
    assert "goggles" not in {c.caution for c in found.cautions}


# -- packs ----------------------------------------------------------------------------------------------------------


def test_a_check_or_answer_no_pack_knows_is_refused():
    with pytest.raises(ReadingError, match="did you mean 'paper'"):
        told(**HOT, papier="falls")
    with pytest.raises(ReadingError, match="is not an answer to this check"):
        told(**HOT, paper="floats")


def test_a_shops_pack_adjusts_and_says_so_in_the_ledger():
    shop = {
        "pack": "shop",
        "builds_on": {"workshop": "3"},
        "adjust": {"high_high": {"note": "Our bay is roofed in.", "says": {"smothered": "slightly for"}}},
    }
    found = diagnose(Reading(HOT), program=mine.compiled(PACK, shop))
    reason = next(r for r in of(found, "smothered").reasons if r.rule == "high_high")
    assert reason.weight == pytest.approx(3.0, abs=0.05)
    assert reason.notes == (("shop", "Our bay is roofed in."),)
    assert found.packs == (("workshop", 3), ("shop", 1))


def test_folders_of_rules_stack_on_the_built_in_ones_and_rules_can_be_left_out(tmp_path):
    rule = mine.rule_entry({"ambient": {"above": "-60 degC"}}, {"normal": "decisively against"}, "of_ours")
    (tmp_path / "pack.yaml").write_text(mine.yaml_text({"pack": "ours", "rules": {"never_normal": rule}}))
    reading = Reading(refrigerant="R134a", low_side="30 psi", high_side="200 psi", ambient="85 degF")
    plain, ours = diagnose(reading), diagnose(reading, rules=[tmp_path])
    assert of(ours, "normal").weight == pytest.approx(of(plain, "normal").weight - 20.0, abs=0.01)
    without = diagnose(reading, rules=[str(tmp_path)], without=["never_normal"])
    assert without.ranking == plain.ranking


@pytest.mark.parametrize(
    ("fields", "first"),
    [
        ({"low_side": "low", "high_side": "high"}, None),
        ({"low_side": "high", "high_side": "low"}, None),
        ({}, "not_enough"),
        ({"compressor": "off", "low_side": "equal"}, None),
    ],
)
def test_words_alone_get_an_answer_from_the_built_in_rules(fields, first):
    found = diagnose(Reading(fields))
    assert found.verdict == first if first else found.verdict in {"fault", "too_close", "gated"}


@given(mine.told(), st.sampled_from(("us", "si", "metric")))
def test_every_sentence_is_filled_in(reading, units):
    """No name in braces, no NaN and no empty bracket reaches the reader, whatever is missing."""
    given_ = reading.reading().given | {"units": "si"}
    one = Reading(given_)
    one.units = type(one.units)(units)
    found = diagnose(one)
    sentences = [reason.text for ranked in found.ranking for reason in ranked.reasons]
    sentences += [reason.title for ranked in found.ranking for reason in ranked.reasons]
    sentences += [gate.text for gate in found.gates] + list(found.warnings) + [why for _, why in found.missing]
    for sentence in sentences:
        assert not set("{}") & set(sentence)
        assert "nan" not in sentence.casefold().replace(",", " ").split()
        assert "()" not in sentence
        assert "not known" not in sentence  # a rule of ours that needs a value to make sense puts it in brackets


def test_a_blend_says_which_saturation_it_means_and_where_the_other_lies():
    told = {"low_side": "4 bar", "high_side": "18 bar", "ambient": "30 degC"}
    said = [each for each in diagnose(Reading({**told, "refrigerant": "R407C"})).warnings if "bubble point" in each]
    assert len(said) == 1
    blend = refrigerants.get("R407C")
    at = blend.saturation_temperature([18e5 + 101325.0], "bubble")[0] - 273.15
    assert f"{at * 1.8 + 32:.0f} degF at the high side" in said[0]
    for others in ({**told, "refrigerant": "R410A"}, {"refrigerant": "R407C", "ambient": "30 degC"}):
        assert not [each for each in diagnose(Reading(others)).warnings if "bubble point" in each]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, True),
        ({"compressor": "cycling"}, False),
        ({"low_side": "30 psi", "high_side": "160 psi"}, False),
    ],
)
def test_it_says_what_a_swinging_needle_is_judged_by_until_it_knows_why_it_swings(more, said):
    told = {"refrigerant": "R1234yf", "low_side": "22 to 45 psi", "high_side": "130 to 190 psi", "ambient": "80 degF"}
    warnings = diagnose(Reading({**told, **more})).warnings
    assert any(each.startswith("the low side and the high side swing: the middle") for each in warnings) == said
