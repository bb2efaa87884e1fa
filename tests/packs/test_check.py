"""Checking packs: each mistake at its place with its code, all of them at once, and silence about what is sound."""

from __future__ import annotations

import ast
import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given

from strategies import told
from twogauge.diagnosis import columns_of
from twogauge.errors import FileProblems, InputError
from twogauge.levels import LEVELS
from twogauge.packs.check import check_packs
from twogauge.packs.codes import CODES
from twogauge.packs.compile import compile_stack
from twogauge.packs.lint.spans import reach
from twogauge.packs.lint.together import DIFFERENCES
from twogauge.packs.stack import stack
from twogauge.quantity_table import QUANTITIES
from twogauge.work import Absent, Work

BAD = Path(__file__).parent / "bad"
GROUND = BAD / "ground"
MISTAKES = sorted(folder.name for folder in BAD.iterdir() if folder.name not in {"ground", "yaml"})
RULE = """\
  {name}:
    topic: {topic}
    title: {title}
    when: {when}
    says: {says}
    because: {because}
    source: common practice
    examples: {{holds: [{{high_side: low}}], does_not_hold: [{{high_side: high}}]}}
"""


def rule(name="tried", **changed):
    given = {
        "topic": "tried",
        "title": "x",
        "when": "{condensing_over_ambient: {below: 5 K}}",
        "says": "{leak: for}",
        "because": "x",
    }
    return RULE.format(name=name, **(given | changed))


@pytest.fixture
def found(tmp_path):
    """Write the files of a pack (text for one) and return what the check says of it: [(code, line), ...]."""

    def check(files, on=(GROUND,)):
        folder = tmp_path / "shop"
        for name, text in {"pack.yaml": files}.items() if isinstance(files, str) else files.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, "utf-8")
        return [(p.code, p.place.line) for p in check_packs([folder], on=on).problems]

    return check


def expected(folder):
    """Return the EXPECT lines at the top of a bad pack; a line that goes on is indented after its #."""
    lines = min(folder.glob("*.yaml")).read_text("utf-8").splitlines()
    comments = itertools.takewhile(lambda line: line.startswith("#"), lines)
    return re.sub(r"\n# +(?!EXPECT)", " ", "\n".join(comments)).replace("# EXPECT ", "").splitlines()


# -- mistakes -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MISTAKES)
def test_each_mistake_is_told_with_its_place_its_code_and_what_to_write(name, monkeypatch):
    monkeypatch.chdir(BAD)
    problems = check_packs([name], on=["ground"]).problems
    wanted = expected(BAD / name)
    # A file that shows an error need not be tidy otherwise; one that shows a warning shows all of them.
    warns = any(CODES[line.split(": ")[1]].severity == "warning" for line in wanted)
    told_ = [f"{p.place}: {p.code}: {p.message}" for p in problems if warns or p.severity == "error"]
    assert [line.replace(f"{name}/", "") for line in told_] == wanted


@pytest.mark.parametrize("name", MISTAKES)
def test_what_is_an_error_to_load_is_an_error_to_the_check_and_a_warning_loads(name, monkeypatch):
    monkeypatch.chdir(BAD)
    errors = {(p.place, p.message) for p in check_packs([name], on=["ground"]).problems if p.severity == "error"}
    refused: set[object] = set()
    try:
        compile_stack(stack(["ground", name]))
    except FileProblems as error:
        refused = {(p.place, p.message) for p in error.problems}
    assert refused <= errors
    codes = {line.split(": ")[1] for line in expected(BAD / name)}
    only_an_author_minds = {c.name for c in CODES.values() if c.severity == "warning"}
    only_an_author_minds |= {"never-holds", "always-holds", "never-together", "soft-edge"}
    assert refused or codes <= only_an_author_minds


def test_there_is_a_mistake_for_most_codes_of_entries_and_findings():
    seeded = {line.split(": ")[1] for name in MISTAKES for line in expected(BAD / name)}
    assert len(MISTAKES) >= 130
    assert seeded <= set(CODES)
    assert len(seeded) >= 50


# -- all at once ----------------------------------------------------------------------------------------------------


def test_one_file_that_cannot_be_read_hides_nothing_and_invents_nothing(found):
    files = {
        "a.yaml": "pack: shop\nfaults:\n  belt: {title: Belt: torn}\n",
        "b.yaml": "rules:\n" + rule(says="{belt: for, leek: for}"),
    }
    assert found(files) == [("syntax", 3), ("unknown-fault", 6)]


def test_an_entry_that_is_not_sound_still_exists_for_the_others(found):
    text = "pack: shop\nfaults:\n  belt: {title: Belt, how_common: often, what_happens: x, source: from memory}\n"
    assert found(text + "rules:\n" + rule(says="{belt: for}")) == [("unknown-word", 3)]


def test_what_a_broken_rule_may_use_is_not_called_unused(found):
    check = "  squeal: {title: x, ask: x?, how: x, effort: glance, source: from memory}\n"
    broken = rule(when="{squeal: {is: yes}}").replace("    because: x\n", "")
    assert found(f"pack: shop\nchecks:\n{check}rules:\n{broken}") == [("missing-key", 5)]
    assert found(f"pack: shop\nchecks:\n{check}") == [("check-without-rule", 3)]


def test_what_else_is_wrong_in_a_rule_of_the_wrong_form_is_told_as_well(found):
    pack = """\
pack: shop
topic: tried
rules:
  tried:
    title: x
    colour: red
    when:
      condensing_over_ambient: {above: 20 degC}
      superheet: {above: 5 K}
      superheat: {above: 5 K, is: high}
    says: {leek: for, dirt: 25 dB}
    because: x
    source: common practice
"""
    assert found(pack) == [
        ("no-examples", 4),
        ("unknown-key", 6),
        ("wrong-dimension", 8),
        ("unknown-quantity", 9),
        ("wrong-test", 10),
        ("unknown-fault", 11),
        ("weight-limit", 11),
    ]
    assert found("pack: shop\nrules:\n  tried: {title: x}\n  other: {when: [], says: 3}\n")


def test_a_broken_rule_hides_no_example_and_no_case_of_others(found):
    wrong = rule().replace("holds: [{high_side: low}]", "holds: [{high_side: lwo}, {galss: clear}]", 1)
    broken = rule("broken").replace("    because: x\n", "")
    files = {
        "pack.yaml": f"pack: shop\nrules:\n{wrong}{broken}",
        "cases/a.yaml": "- {id: c, reading: {high_side: low}, expect: {first: leek}, note: x}\n",
    }
    assert sorted(code for code, _ in found(files)) == ["example", "example", "missing-key", "unknown-fault"]


def test_examples_and_cases_are_read_as_well(found):
    wrong = rule().replace("holds: [{high_side: low}]", "holds: [{high_side: lwo}, {galss: clear}]", 1)
    files = {
        "pack.yaml": f"pack: shop\nrules:\n{wrong}",
        "cases/a.yaml": "- {reading: {high_side: 5 furlongs}, expect: {first: leak}, source: x}\n",
        "cases/b.yaml": "- {reading: {high_side: low}, expect: {first: leek}, source: x}\n",
        "cases/c.yaml": "- {reading: {high_side: low}\n",
    }
    assert found(files) == [("reading", 1), ("unknown-fault", 1), ("syntax", 2), ("example", 10), ("example", 10)]


def test_what_examples_and_cases_may_mean_in_a_file_that_cannot_be_read_is_not_called_wrong(found):
    files = {
        "pack.yaml": "pack: shop\nrules:\n" + rule().replace("{high_side: low}", "{squeal: yes}"),
        "checks.yaml": "checks:\n  squeal: {title: a: b}\n",
        "cases/a.yaml": "- {reading: {squeal: yes}, expect: {frist: leak}, source: x}\n",
    }
    assert found(files) == [("unknown-key", 1), ("syntax", 2)]


def test_problems_of_all_packs_come_sorted_and_once(tmp_path):
    for name in ("b", "a"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "pack.yaml").write_text(f"pack: {name}\nruels: {{}}\nadjust:\n  x: {{note: y}}\n", "utf-8")
    problems = check_packs([tmp_path / "b", tmp_path / "a"], on=[GROUND]).problems
    assert list(problems) == sorted(set(problems))
    assert [(Path(p.place.path).parent.name, p.place.line, p.code) for p in problems] == [
        ("a", 2, "unknown-key"),
        ("a", 4, "unknown-id"),
        ("b", 2, "unknown-key"),
        ("b", 4, "unknown-id"),
    ]


def test_only_what_the_author_can_change_is_warned_of(tmp_path):
    loose = tmp_path / "loose"
    loose.mkdir()
    text = "pack: loose\ncautions:\n  goggles: {text: x, source: x}\nrules:\n" + rule(says="{leak: nothing}")
    (loose / "pack.yaml").write_text(text, "utf-8")
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "pack.yaml").write_text("pack: mine\n", "utf-8")
    assert check_packs([mine], on=[GROUND, loose]).problems == ()
    assert len(check_packs([loose, mine], on=[GROUND]).problems) == 2
    (mine / "pack.yaml").write_text("pack: mine\nadjust:\n  tried: {note: x, title: y}\n", "utf-8")
    assert [p.code for p in check_packs([mine], on=[GROUND, loose]).problems] == ["says-nothing"]


@pytest.mark.parametrize("folder", ["missing", "file.yaml", "empty"])
def test_what_is_no_pack_is_wrong_use(folder, tmp_path):
    (tmp_path / "file.yaml").write_text("pack: x\n")
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError) as caught:
        check_packs([tmp_path / folder])
    assert not isinstance(caught.value, FileProblems)


# -- what ships -----------------------------------------------------------------------------------------------------


def test_nothing_is_wrong_with_what_ships(root):
    report = check_packs([])
    assert report.problems == ()
    assert report.packs == ("common", "automotive", "stationary")
    assert report.rules >= 170
    assert check_packs([root / "examples" / "bus_depot"]).problems == ()


def test_a_built_in_pack_can_be_checked_by_its_folder(root):
    report = check_packs([root / "rules" / "stationary"])
    assert report.packs == ("stationary",)
    assert 0 < report.rules < 100


# -- findings, closer -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "when",
    [
        "{engine_speed: {above: 0 rpm}}",  # the engine turns
        "{low_side_above_air: {below: 0 psi}}",  # a vacuum
        "{high_side_level: {above: 2}}",
        "{condensing_over_ambient: {above: 52 K, soft: 6 K}, high_side_level: {is: high}}",
        "{condensing_over_ambient: {below: 20 K}, high_side_level: {is: normal}}",
        "{condensing_saturation: {above: 60 degC}, ambient: {below: 20 degC}}",
        "{suction_saturation: {below: 0 degC}, suction_below_ambient: {above: 40 K}, ambient: {above: 20 degC}}",
        "{superheat: {above: 20 K}, suction_line: {below: 10 degC}}",
    ],
)
def test_conditions_that_can_be_true_are_left_alone(found, when):
    assert found("pack: shop\nrules:\n" + rule(when=when)) == []


@pytest.mark.parametrize(
    ("wide", "narrow", "hides"),
    [
        ("{ambient: {above: 30 degC}}", "{ambient: {above: 35 degC}}", True),
        ("{ambient: {above: 35 degC}}", "{ambient: {above: 30 degC}}", False),
        ("{ambient: {below: 35 degC}}", "{ambient: {between: [10 degC, 30 degC]}}", True),
        ("{ambient: {above: 30 degC, soft: 5 K}}", "{ambient: {above: 35 degC}}", False),  # not as sure as the other
        ("{ambient: {above: 30 degC}}", "{ambient: {above: 35 degC, soft: 5 K}}", True),
        ("{glass: {is_not: clear}}", "{glass: {is: bubbles}}", True),
        ("{glass: {is: bubbles}}", "{glass: {is: bubbles}, ambient: {above: 30 degC}}", True),
        ("{glass: {is: bubbles}, ambient: {above: 30 degC}}", "{glass: {is: bubbles}, system: {is: bus_ac}}", False),
    ],
)
def test_a_rule_is_hidden_by_one_that_holds_wherever_it_does(found, wide, narrow, hides):
    text = "pack: shop\nrules:\n" + rule("narrow", when=narrow)
    text += rule("wide", when=wide, says="{leak: strongly for}")
    assert found(text) == ([("hidden", 3)] if hides else [])


@pytest.mark.parametrize(
    ("wide", "narrow", "hides"),
    [
        ("{leak: for}", "{leak: slightly for}", True),
        ("{leak: for, dirt: for}", "{leak: slightly for}", True),
        ("{leak: for}", "{leak: strongly for}", False),
        ("{leak: for}", "{leak: slightly against}", False),
        ("{leak: for}", "{leak: slightly for, dirt: slightly for}", False),
    ],
)
def test_a_rule_is_hidden_only_by_weights_at_least_as_strong(found, wide, narrow, hides):
    near, nearer = "{condensing_over_ambient: {below: 6 K}}", "{condensing_over_ambient: {below: 5 K}}"
    text = "pack: shop\nrules:\n" + rule("narrow", says=narrow, when=nearer) + rule("wide", says=wide, when=near)
    assert found(text) == ([("hidden", 3)] if hides else [])


def test_what_a_rule_says_otherwise_and_where_it_applies_counts_too(found):
    one, two = rule("narrow", says="{leak: slightly for}"), rule("wide")
    head = "pack: shop\nrules:\n"
    assert found(head + one + two) == [("hidden", 3)]
    assert found(head + one + "    otherwise: {dirt: for}\n" + two) == []
    assert found(head + one + two + "    applies_to: {system: bus_ac}\n") == []
    assert found(head + one + "    applies_to: {system: bus_ac}\n" + two) == [("hidden", 3)]
    assert found(head + one + two.replace("topic: tried", "topic: other")) == []


def test_what_is_said_otherwise_is_hidden_only_by_a_rule_for_the_same_systems(found):
    head = "pack: shop\nrules:\n"
    both = "    otherwise: {dirt: for}\n"
    one, two = rule("narrow", says="{leak: slightly for}") + both, rule("wide") + both
    assert found(head + one + two) == [("hidden", 3)]
    assert found(head + one + "    applies_to: {system: bus_ac}\n" + two) == []


@pytest.mark.parametrize(
    ("when", "is_silenced"),
    [
        ("{ambient: {below: 7 degC}}", True),
        ("{ambient: {below: 9 degC}}", False),  # the gate begins at 10, and is shut at 8
        ("{ambient: {below: 12 degC}}", False),
        ("{ambient: {above: 7 degC}}", False),
        ("{condensing_over_ambient: {below: 5 K}, ambient: {between: [0 degC, 7 degC]}}", True),
    ],
)
def test_a_rule_is_silenced_if_its_conditions_shut_the_gate_for_sure(found, when, is_silenced):
    text = "pack: shop\nrules:\n" + rule(topic="high", when=when)
    assert found(text) == ([("silenced", 4)] if is_silenced else [])


BANDS = """\
pack: shop
bands:
  by_air:
    level: subcooling_level
    normal_at: [{ambient: 10 degC, normal: [2 K, 6 K]}, {ambient: 40 degC, normal: [8 K, 12 K]}]
    edge: 1 K
    baseline: 1 K
    source: our log
  of_buses:
    level: superheat_level
    applies_to: {system: bus_ac}
    normal: [5 K, 10 K]
    shifts: [{field: humidity, above: 50 %, each: 10 %, low: -1 K, high: -1 K, steps: 3}]
    edge: 1 K
    baseline: 1 K
    source: our log
  of_coolers:
    level: superheat_level
    applies_to: {system: cooler}
    normal: [30 K, 40 K]
    edge: 1 K
    baseline: 1 K
    source: our log
rules:
"""


@pytest.mark.parametrize(
    ("when", "system", "hardly"),
    [
        # above the lower of the two upper ends in cold air, below the higher of the two lower ends in hot air
        ("{subcooling_level: {is: high}, subcooling: {below: 5 K}}", "bus_ac", True),
        ("{subcooling_level: {is: high}, subcooling: {below: 7 K}}", "bus_ac", False),
        ("{subcooling_level: {is: low}, subcooling: {above: 9 K}}", "bus_ac", True),
        ("{subcooling_level: {is: low}, subcooling: {above: 7 K}}", "bus_ac", False),
        # in damp air the ends come down by as much as 3 K
        ("{superheat_level: {is: high}, superheat: {below: 8 K}}", "bus_ac", False),
        ("{superheat_level: {is: high}, superheat: {below: 6.5 K}}", "bus_ac", True),
        # a level of -3 lies below the band, as low as it is wide
        ("{subcooling_level: {between: [-3, 0]}, subcooling: {below: 0 K}}", "bus_ac", False),
        # the band of another system says nothing here
        ("{superheat_level: {is: normal}, superheat: {above: 28 K}}", "bus_ac", True),
        ("{superheat_level: {is: normal}, superheat: {above: 28 K}}", "cooler", False),
        ("{superheat_level: {above: 2}, superheat: {below: 5 K}}", "bus_ac", True),
        ("{superheat_level: {below: 2}, superheat: {below: 5 K}}", "bus_ac", False),
    ],
)
def test_a_level_and_its_quantity_are_held_against_every_usual_range(found, when, system, hardly):
    text = BANDS + rule(when=when) + f"    applies_to: {{system: {system}}}\n"
    line = BANDS.count("\n") + 4
    assert found(text) == ([("hardly-together", line)] if hardly else [])


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("It condenses {condensing_over_ambient}, less than 3 K over the air.", True),
        ("It condenses {condensing_over_ambient}, less than 5 K over the air.", False),
        ("It condenses {condensing_over_ambient}, less than 9 degF over the air.", False),
        ("It condenses {condensing_over_ambient}, less than 5.1 K over the air.", False),
        ("It condenses {condensing_over_ambient}, above 20 K.", True),
        ("{condensing_over_ambient} is little; no healthy machine needs less than 3 K.", False),
        ("The superheat is more than 20 K.", False),  # of something else
        ("It condenses {condensing_over_ambient}. Most need more than 20 K.", False),
        ("It condenses {condensing_over_ambient}, less than 40 psi.", False),  # not the same kind
        ("It condenses {condensing_over_ambient} at less than 1500 rpm.", False),
    ],
)
def test_a_number_in_the_reason_is_held_against_the_condition(found, text, wrong):
    assert found("pack: shop\nrules:\n" + rule(because=f"'{text}'")) == ([("prose-number", 8)] if wrong else [])


# -- what the findings take for granted -------------------------------------------------------------------------------


@given(reading=told())
def test_the_differences_the_findings_count_on_are_differences(reading):
    work = Work(columns_of([reading.reading()]), QUANTITIES)
    for name, parts in DIFFERENCES.items():
        whole, one, other = (work.get(each) for each in (name, *parts))
        if isinstance(one, Absent) or isinstance(other, Absent):
            continue
        both = one.value - other.value
        assert not isinstance(whole, Absent)
        np.testing.assert_allclose(whole.value, both, rtol=0, atol=1e-9)


@given(reading=told())
def test_no_reading_lies_beyond_the_reach_of_its_quantities(reading):
    """Only what a person can mistype may: these readings are drawn from wider ranges than are met."""
    work = Work(columns_of([reading.reading()]), QUANTITIES)
    for name in ("ambient", "humidity", "vent_air", "low_side", "high_side", "pressure_ratio", "running_for"):
        value = work.get(name)
        if not isinstance(value, Absent) and not np.isnan(value.value).any():
            assert reach(name).low <= value.value[0] <= reach(name).high


def test_every_quantity_that_can_be_judged_by_a_number_has_a_reach():
    for name, info in QUANTITIES.items():
        if not info.words and name not in LEVELS:
            assert np.isfinite(reach(name).high - reach(name).low), name


# -- codes ------------------------------------------------------------------------------------------------------------


def test_every_code_that_is_written_somewhere_is_described_and_the_other_way_round(root):
    written = set()
    makers = {"Problem": 1, "CodedError": 0, "_problem": 1, "_refusal": 1, "refusal": 0, "report": 2}
    folder = root / "engine" / "twogauge"
    for path in (*folder.glob("packs/**/*.py"), folder / "files.py"):
        if "codes" in path.parts:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "id", None) or getattr(node.func, "attr", "")
                at = makers.get(name)
                if at is not None and len(node.args) > at and isinstance(node.args[at], ast.Constant):
                    written.add(node.args[at].value)
                written |= {
                    k.value.value for k in node.keywords if k.arg == "code" and isinstance(k.value, ast.Constant)
                }
    assert written - set(CODES) == set()
    assert len(written) >= 60
