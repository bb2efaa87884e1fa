"""The text for a person: the answer in the first line, everything that stands behind it below, and it fits."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from small_pack import program
from twogauge.diagnosis import diagnose
from twogauge.outlook import look_ahead
from twogauge.output.outlook import how_to_tell, what_it_does
from twogauge.output.style import Style, percent
from twogauge.output.text import as_text, strength
from twogauge.quantities import UnitSet
from twogauge.reading import Reading

SUMMER = {"refrigerant": "R134a", "ambient": "90 degF", "altitude": "0 ft"}
THIRSTY = {**SUMMER, "low_side": "2 psi", "high_side": "100 psi", "oily_spots": "yes"}
SMOTHERED = {**SUMMER, "low_side": "40 psi", "high_side": "390 psi", "paper_test": "falls"}
CLOSE = {"low_side": "low", "high_side": "high"}
COLD = {**THIRSTY, "ambient": "30 degF"}
NOTHING = {"refrigerant": "R134a"}
EVERY = [THIRSTY, SMOTHERED, CLOSE, COLD, NOTHING]


def answer(given, **kw):
    return diagnose(Reading(given), program=program(), **kw)


def ahead(given):
    return look_ahead(Reading(given), program=program())


def text(given, style=None, **kw):
    return as_text(answer(given), style or Style(), ahead(given), **kw)


def flat(given, **kw):
    return " ".join(text(given, **kw).split())


def section(given, head, **kw):
    found = re.search(rf"(?:^|\n){re.escape(head)}\n(.*?)(?=\n\n\S|\Z)", text(given, **kw), re.DOTALL)
    return found[1] if found else ""


def with_verdict(verdict, **kw):
    """A diagnosis whose verdict is set by hand, to see each sentence."""
    return replace(answer(THIRSTY), verdict=verdict, **kw)


@pytest.mark.parametrize(
    ("diagnosis", "beginning"),
    [
        (answer(THIRSTY), "Most likely: Not enough in it ("),
        (answer(COLD), "These readings say nothing yet: Too cold to judge"),
        (answer(NOTHING), "Not enough to say what is wrong"),
        (with_verdict("normal"), "Nothing wrong with the refrigerant circuit that these readings show ("),
        (
            with_verdict("too_close", close=("thirsty", "normal")),
            "Too close to call: Not enough in it (",
        ),
    ],
    ids=["fault", "gated", "not_enough", "normal", "too_close"],
)
def test_the_first_line_is_the_answer(diagnosis, beginning):
    assert as_text(diagnosis, Style()).startswith(beginning)


def test_what_is_too_close_is_named_with_its_probability_and_more_than_three_are_counted():
    ranking = answer(NOTHING).ranking
    close = tuple(r.fault for r in ranking)
    first = as_text(replace(answer(NOTHING), verdict="too_close", close=close), Style(100))
    for ranked in ranking[:3]:
        assert f"{ranked.title} ({percent(ranked.probability)})" in first.partition("\n\n")[0].replace("\n  ", " ")
    assert f"or {len(ranking) - 3} more" in first


@given(
    st.sampled_from(EVERY),
    st.integers(40, 100),
    st.booleans(),
    st.sampled_from(["utf-8", "ascii"]),
    st.tuples(st.sampled_from(list(UnitSet)), st.text(max_size=60)),
)
def test_every_line_fits_is_encodable_and_safe(reading, width, verbose, encoding, told):
    units, name = told
    diagnosis = diagnose(Reading({**reading, "machine": name, "units": units.value}), program=program())
    printed = as_text(diagnosis, Style(width, encoding=encoding), verbose=verbose)
    printed.encode(encoding)
    for line in printed.removesuffix("\n").split("\n"):
        assert len(line) <= width
        assert line == line.rstrip()
        assert line.isprintable()


@pytest.mark.parametrize("reading", EVERY)
@pytest.mark.parametrize("verbose", [False, True])
def test_emphasis_changes_no_word(reading, verbose):
    plain = text(reading, verbose=verbose)
    marked = text(reading, Style(emphasis=True), verbose=verbose)
    assert "\x1b[" in marked
    assert re.sub(r"\x1b\[[0-9;]*m", "", marked) == plain


def test_the_table_says_value_uncertainty_normal_yardstick_and_level():
    row = next(line for line in section(THIRSTY, "What the gauges mean").splitlines() if "high side" in line)
    assert re.fullmatch(r" +high side +100 \u00b1 \d+ psi +\d+ to \d+ psi +usual +low", row)


def test_a_value_has_no_digit_that_its_uncertainty_does_not_support():
    for line in section(THIRSTY, "What the gauges mean", verbose=True).splitlines():
        if found := re.search(r"(-?[\d.]+) \u00b1 ([\d.]+)", line):
            value, within = (part.partition(".")[2] for part in found.groups())
            assert len(value) == len(within)
            assert len(found[2].replace(".", "").lstrip("0")) <= 2


def test_a_better_gauge_gives_more_digits():
    rough, fine = (
        section({**THIRSTY, "high_gauge_accuracy": limit}, "What the gauges mean") for limit in ("8 psi", "0.05 psi")
    )
    assert re.search(r"high side +100 \u00b1 \d+ psi", rough)
    assert re.search(r"high side +100\.\d+ \u00b1 0\.\d+ psi", fine)


def test_the_uncertainty_covers_two_standard_uncertainties():
    """A limit of 8 psi is a rectangular distribution (8 / sqrt 3 = 4.6 psi); the air adds next to nothing."""
    assert "100 \u00b1 9 psi" in section({**THIRSTY, "high_gauge_accuracy": "8 psi"}, "What the gauges mean")


def test_the_makers_range_is_shown_as_the_makers():
    spec = section({**THIRSTY, "spec": {"low_side": ["22 psi", "33 psi"]}}, "What the gauges mean")
    assert re.search(r"low side .* 22 to 33 psi +maker +low", spec)
    assert "maker: what the maker" in spec


def test_a_known_good_reading_is_shown_as_yardstick():
    baseline = {**SUMMER, "low_side": "28 psi", "high_side": "200 psi"}
    table = section({**THIRSTY, "baseline": baseline}, "What the gauges mean")
    assert re.search(r"low side .* known good +low", table)


def test_words_and_swings_are_shown_as_told():
    table = section({**SUMMER, "low_side": "22 to 45 psi", "high_side": "high"}, "What the gauges mean")
    assert re.search(r"low side +22 to 45 psi", table)
    assert re.search(r"high side +high +told +high", table)


def test_a_vacuum_is_shown_as_the_dial_shows_it():
    assert re.search(
        r"low side +12 \u00b1 \d inHg vac", section({**THIRSTY, "low_side": "-12 inHg"}, "What the gauges mean")
    )


def test_units_of_the_reader_are_used_everywhere():
    printed = text({**SMOTHERED, "units": "si", "altitude": "0 m", "spec": {"low_side": ["100 kPa", "200 kPa"]}})
    assert not re.search(r"\b(psi|degF|inHg)\b", printed.partition("Take care")[0])
    assert "kPa" in printed


def test_faults_are_listed_with_probability_and_bar_and_the_rest_is_summed_up():
    assert any(0.02 <= r.probability < 0.04 for r in answer(NOTHING).ranking)
    for ranked in answer(NOTHING).ranking:
        assert ranked.title in section(NOTHING, "How likely, by little more than how common each is")
    diagnosis = answer(CLOSE)
    listed = section(CLOSE, "How likely")
    for ranked in diagnosis.ranking:
        assert (ranked.title in listed) == (ranked.probability >= 0.02)
    rest = [r for r in diagnosis.ranking if r.probability < 0.02]
    assert f"{percent(sum(r.probability for r in rest))}  all {len(rest)} others together" in listed
    shares = [line.count("\u2588") for line in listed.splitlines()[:-1]]
    assert shares == sorted(shares, reverse=True)


def test_reasons_have_words_decibans_and_their_text():
    reason = answer(SMOTHERED).first.reasons[0]
    printed = flat(SMOTHERED)
    assert f"{strength(reason.weight)} {reason.weight:+.1f} dB {reason.title}" in printed
    assert reason.text in printed


def test_what_speaks_against_is_apart_from_what_speaks_for():
    body = section(CLOSE, f"{answer(CLOSE).first.title}, {percent(answer(CLOSE).first.probability)}")
    against = body.partition("Speaks against it")
    assert "+" in against[0]
    assert re.search(r"-\d+\.\d dB", against[2])
    assert not re.search(r"-\d+\.\d dB", against[0])


def test_the_text_of_a_rule_is_printed_once():
    diagnosis = answer(CLOSE)
    assert len([r for r in diagnosis.ranking if r.probability >= 0.1]) > 1
    for ranked in diagnosis.ranking[:3]:
        for reason in ranked.reasons:
            if reason.text:
                assert flat(CLOSE).count(" ".join(reason.text.split())[5:]) <= 1


def test_a_reason_that_did_not_count_is_shown_only_on_request():
    uncounted = [r for r in answer(SMOTHERED).first.reasons if not r.counted]
    assert uncounted
    for reason in uncounted:
        assert reason.title not in text(SMOTHERED)
        assert reason.title in flat(SMOTHERED, verbose=True)
        assert f"{reason.pack}: {reason.rule}, topic {reason.topic}" in flat(SMOTHERED, verbose=True)


def test_what_the_leader_leaves_open_is_said():
    diagnosis = answer({**THIRSTY, "paper_test": "falls"})
    assert diagnosis.unexplained
    printed = flat({**THIRSTY, "paper_test": "falls"})
    after = printed.partition("Leaves unexplained")[2]
    for reason in diagnosis.unexplained:
        assert f"- {reason.title}" in after


def test_only_the_leader_leaves_something_open():
    first, second = answer(CLOSE).ranking[:2]
    printed = text(CLOSE)
    assert printed.count("Leaves unexplained") == 1
    assert f"\n{first.title}, " in printed.partition("Leaves unexplained")[0]
    assert f"\n{second.title}, " in printed.partition("Leaves unexplained")[2]


def test_a_fault_that_is_hardly_likely_gets_no_advice_unless_all_is_wanted():
    for reading in (THIRSTY, SMOTHERED):
        for ranked in answer(reading).ranking[1:]:
            assert ranked.probability < 0.1
            assert f"\n{ranked.title}, " not in text(reading)


def test_each_caution_stands_once_and_after_the_advice():
    for reading in EVERY:
        diagnosis, printed = answer(reading), flat(reading)
        for caution in diagnosis.cautions:
            assert printed.count(caution.short) == 1, caution
        for ranked in diagnosis.ranking[:1]:
            if f"{ranked.title}, " in printed and ranked.repair and ranked.cautions:
                assert printed.index(ranked.repair[-1]) < printed.index(ranked.cautions[-1].short)


def test_a_caution_of_both_advice_and_next_check_stands_with_the_advice():
    reading = {k: v for k, v in SMOTHERED.items() if k != "paper_test"}
    diagnosis, printed = answer(reading), flat(reading)
    both = set(diagnosis.first.cautions) & {c for step in ahead(reading).steps for c in step.cautions}
    assert both
    for caution in both:
        assert printed.index(caution.short) < printed.index("Look at next,")


def test_no_advice_is_printed_without_its_cautions():
    for reading in EVERY:
        for verbose in (False, True):
            printed = flat(reading, verbose=verbose)
            for ranked in answer(reading).ranking:
                if ranked.repair and f"1. {ranked.repair[0]}" in printed:
                    assert all((c.text if verbose else c.short) in printed for c in ranked.cautions)
            for step in ahead(reading).steps:
                assert all(printed.count(c.text if verbose else c.short) == 1 for c in step.cautions)


def test_behind_a_gate_no_fault_is_ranked_but_the_way_out_is_told():
    printed = text(COLD)
    assert "How likely" not in printed
    assert "Instead: Bring it where the air is above 16 degC" in printed
    assert "The air is 30 degF" in printed


def test_the_next_steps_say_how_what_they_would_change_and_what_to_type():
    steps = ahead(CLOSE).steps
    printed = flat(CLOSE)
    assert steps
    for step in steps:
        assert step.title in printed
        assert " ".join(step.how.split()) in printed
        assert all(sentence in printed for sentence in what_it_does(step, ahead(CLOSE).titles))
        assert how_to_tell(step) in printed
    assert "--check paper_test=ANSWER" in printed


def test_missing_quantities_take_one_short_line_and_their_reasons_on_request():
    missing = answer(NOTHING).missing
    assert missing
    assert f"Not known: {', '.join(name.replace('_', ' ') for name, _ in missing)}." in flat(NOTHING)
    for name, reason in missing:
        assert f"- {name.replace('_', ' ')}: {reason}" in flat(NOTHING, verbose=True)


def test_assumptions_are_told():
    printed = flat({"refrigerant": "R134a", "low_side": "35 psi"})
    assert "- No altitude or barometer was given: sea level is assumed" in printed


def test_a_packs_note_stands_where_it_moved_the_answer():
    ranked = answer(SMOTHERED).ranking[0]
    noted = replace(ranked.reasons[0], notes=(("our_shop", "The wash bay is roofed in."),))
    changed = replace(ranked, reasons=(noted, *ranked.reasons[1:]))
    diagnosis = replace(answer(SMOTHERED), ranking=(changed, *answer(SMOTHERED).ranking[1:]))
    assert "Adjusted by our_shop: The wash bay is roofed in." in " ".join(as_text(diagnosis, Style()).split())


@pytest.mark.parametrize(
    ("probability", "printed"), [(0.0, "<1 %"), (0.004, "<1 %"), (0.006, "1 %"), (0.714, "71 %"), (1.0, ">99 %")]
)
def test_nothing_is_called_certain(probability, printed):
    assert percent(probability) == printed


@pytest.mark.parametrize(
    ("weight", "word"), [(2.0, "slightly"), (-6.2, "plainly"), (9.5, "strongly"), (-20.0, "decisively")]
)
def test_a_weight_has_a_word(weight, word):
    assert strength(weight) == word
