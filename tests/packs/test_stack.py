"""Packs on packs: what a later pack may change, what stays, where each value comes from, and what is refused."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given

from spoilt_packs import SHOP, mutated
from twogauge.errors import FileProblems, InputError
from twogauge.packs.compile import compile_stack
from twogauge.packs.pack_files import read_pack
from twogauge.packs.stack import Layered, stack, stack_on_built_in, stack_packs
from twogauge.packs.yamlfile import plain

BAD = Path(__file__).parent / "bad"
GROUND = BAD / "ground"


@pytest.fixture
def pack(tmp_path):
    """Write a pack; text for one file, or a dict of file names."""

    def write(name, files):
        folder = tmp_path / name
        for file, text in {"pack.yaml": files}.items() if isinstance(files, str) else files.items():
            path = folder / file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, "utf-8")
        return folder

    return write


def line_of(path, part):
    return next(i for i, line in enumerate(path.read_text("utf-8").splitlines(), start=1) if part in line)


# -- several files -----------------------------------------------------------------------------------------------------


def test_the_ground_they_stand_on_is_sound():
    assert compile_stack(stack([GROUND])).rules


def test_problems_of_several_files_come_at_once_and_in_their_order(pack):
    folder = pack("shop", {"b.yaml": "pack: shop\nruels: {}\n", "a.yaml": "zzz: 1\ncheks: {}\n", "c/d.yaml": "- 1\n"})
    with pytest.raises(FileProblems) as caught:
        stack([folder])
    places = [(Path(p.place.path).name, p.place.line) for p in caught.value.problems]
    assert places == [("a.yaml", 1), ("a.yaml", 2), ("b.yaml", 2), ("d.yaml", 1)]


# -- add, adjust, disable -------------------------------------------------------------------------------------------


def test_an_adjustment_replaces_the_leaves_it_names_and_inherits_the_rest(pack):
    folder = pack("shop", SHOP)
    before, after = (stack(f).rules["high_far"] for f in ([GROUND], [GROUND, folder]))
    test = after.entry.when["condensing_over_ambient"]
    assert (test.above, test.soft) == ("42 K", "6 K")
    assert dict(after.entry.says) == {**before.entry.says, "leak": 0.0}
    assert (after.entry.title, after.entry.examples, after.entry.topic) == (
        before.entry.title,
        before.entry.examples,
        before.entry.topic,
    )
    assert after.pack == "ground"
    assert (before.notes, after.notes) == ((), (("shop", "Our bay is hot."),))


def test_each_leaf_of_an_adjusted_rule_knows_the_file_it_was_written_in(pack):
    folder = pack("shop", SHOP)
    rule = stack([GROUND, folder]).rules["high_far"]
    mine, theirs = folder / "pack.yaml", GROUND / "pack.yaml"
    above = rule.place("when", "condensing_over_ambient", "above")
    assert (above.path, above.line) == (str(mine), line_of(mine, "above: 42 K"))
    assert mine.read_text("utf-8").splitlines()[above.line - 1][above.column - 1 :].startswith("42 K")
    for leaf, part in (
        (("when", "condensing_over_ambient", "soft"), "soft: 6 K"),
        (("says", "dirt"), "dirt: strongly for"),
        (("title",), "title: The high side is far"),
    ):
        assert (rule.place(*leaf).path, rule.place(*leaf).line) == (str(theirs), line_of(theirs, part))


def test_a_shop_adds_faults_checks_bands_gates_and_rules(pack):
    folder = pack(
        "shop",
        {
            "faults.yaml": "pack: shop\nfaults:\n  belt: {title: Belt, how_common: rare, what_happens: It stands., "
            "source: from memory}\n",
            "more.yaml": """\
checks:
  squeal: {title: Squeal, ask: Does it squeal?, how: Listen., effort: glance, source: from memory}
topic: belt
rules:
  it_squeals:
    title: It squeals
    when: {squeal: {is: yes}}
    says: {belt: strongly for, sound: against}
    because: "Listen: {squeal}."
    source: from memory
    examples: {holds: [{squeal: yes}], does_not_hold: [{squeal: no}]}
""",
        },
    )
    found = stack([GROUND, folder])
    assert (found.faults["belt"].pack, found.rules["it_squeals"].entry.topic) == ("shop", "belt")
    assert set(stack([GROUND]).rules) < set(found.rules)
    assert {h.id for h in compile_stack(found).hypotheses} == {"sound", "dirt", "leak", "belt"}


def test_a_disabled_rule_is_gone_with_its_reason_kept(pack):
    folder = pack("shop", "pack: shop\ndisable:\n  high_far:\n    note: We never see it.\n")
    found = stack([GROUND, folder])
    assert "high_far" not in found.rules
    assert found.disabled == {"high_far": "shop: We never see it."}


def test_disabling_the_last_rule_of_a_topic_leaves_gates_that_name_it_alone(pack):
    folder = pack("shop", "pack: shop\ndisable:\n  high_far:\n    note: We never see it.\n")
    program = compile_stack(stack([GROUND, folder]))
    assert "high" not in program.topics
    assert [gate.rule.id for gate in program.gates] == ["cold"]


def test_the_topic_and_systems_of_a_file_hold_for_its_rules_unless_they_say_otherwise(pack):
    rule = (
        "  {}:\n    title: x\n    when: {{glass: {{is: clear}}}}\n    says: {{dirt: for}}\n    because: x\n"
        "    source: from memory\n    examples: {{holds: [{{glass: clear}}], does_not_hold: [{{glass: bubbles}}]}}\n"
    )
    folder = pack(
        "shop",
        "pack: shop\ntopic: glass\napplies_to: {system: bus_ac}\nrules:\n"
        + rule.format("one")
        + rule.format("two")
        + "    topic: high\n    applies_to: {metering: capillary}\n",
    )
    rules = stack([GROUND, folder]).rules
    assert (rules["one"].entry.topic, rules["one"].entry.applies_to) == ("glass", {"system": ("bus_ac",)})
    assert (rules["two"].entry.topic, rules["two"].entry.applies_to) == ("high", {"metering": ("capillary",)})


def test_neither_the_order_of_files_nor_of_keys_changes_anything(pack):
    parts = ["pack: shop\n", "builds_on: {ground: 3}\n", SHOP.partition("adjust:")[1] + SHOP.partition("adjust:")[2]]
    one = pack("one", "".join(parts))
    other = pack("other", {f"{i}.yaml": text for i, text in enumerate(reversed(parts))})
    first, second = (compile_stack(stack([GROUND, folder])) for folder in (one, other))
    assert first.rules == second.rules


def test_every_change_is_kept_with_what_it_replaced(pack):
    folder = pack("shop", SHOP)
    changes = stack([GROUND, folder]).rules["high_far"].changes
    told = [(c.path, plain(c.before) if c.before else None, plain(c.after), c.pack, c.note) for c in changes]
    assert told == [
        (("when", "condensing_over_ambient", "above"), "38 K", "42 K", "shop", "Our bay is hot."),
        (("says", "leak"), "against", "nothing", "shop", "Our bay is hot."),
    ]
    assert changes[0].before.place.path == str(GROUND / "pack.yaml")
    assert changes[0].after.place.path == str(folder / "pack.yaml")


def test_a_disabled_rule_is_kept_with_its_place_and_the_place_of_the_reason(pack):
    folder = pack("shop", "pack: shop\ndisable:\n  high_far:\n    note: We never see it.\n")
    gone = stack([GROUND, folder]).taken_out["high_far"]
    assert (gone.kind, gone.owner, gone.pack, gone.note) == ("rules", "ground", "shop", "We never see it.")
    assert str(gone.place) == f"{folder / 'pack.yaml'}:3:3"
    assert plain(gone.node)["title"] == "The high side is far above the air"


# -- extend ---------------------------------------------------------------------------------------------------------

MORE = """\
pack: shop
extend:
  leak:
    note: Ours leak at the roof hoses.
    confirm: Look under the roof hoses.
    cautions: [ladder]
  glass:
    note: Ours has a dye.
    answers: {green: the glass is green}
  high_far:
    note: More to look at.
    applies_to: {system: bus_ac}
    examples: {holds: [{refrigerant: R134a, high_side: 360 psi, ambient: 80 degF, system: bus_ac}]}
cautions:
  ladder: {text: Hold the ladder., source: common practice}
"""


def test_the_answers_yes_and_no_that_nobody_wrote_are_added_to_as_well(pack):
    check = "pack: ours\nchecks:\n  marks: {title: x, ask: x?, how: x, effort: glance, source: from memory}\n"
    more = "pack: van\nbuilds_on: {ours: 1}\nextend:\n  marks: {note: Ours., answers: {half: half of them}}\n"
    answers = stack([GROUND, pack("ours", check), pack("van", more)]).checks["marks"].entry.answers
    assert dict(answers) == {"yes": "yes", "no": "no", "half": "half of them"}


def test_lists_and_answers_are_added_to_and_the_rest_stays(pack):
    before, after = stack([GROUND]), stack([GROUND, pack("shop", MORE)])
    leak = after.faults["leak"].entry
    assert [step.text for step in leak.confirm] == ["Look under the roof hoses."]
    assert leak.cautions == ("gloves", "ladder")
    assert leak.title == before.faults["leak"].entry.title
    assert dict(after.checks["glass"].entry.answers) == {
        "clear": "the glass is clear",
        "bubbles": "bubbles go by",
        "green": "the glass is green",
    }
    assert len(after.rules["high_far"].entry.examples.holds) == 2
    assert after.faults["leak"].notes == (("shop", "Ours leak at the roof hoses."),)
    assert [(c.path, c.extends) for c in after.faults["leak"].changes] == [
        (("confirm",), True),
        (("cautions",), True),
    ]


def test_a_step_for_some_machines_only_is_added_as_a_list_of_one_or_as_it_stands(pack):
    step = "{text: Look behind the wheel., applies_to: {system: bus_ac}}"
    for name, value in (("one", step), ("other", f"[{step}]")):
        folder = pack(name, f"pack: {name}\nextend: {{leak: {{note: x, repair: {value}}}}}\n")
        again = pack(f"{name}_more", f"pack: {name}_more\nextend: {{leak: {{note: x, repair: {value}}}}}\n")
        steps = stack([GROUND, folder, again]).faults["leak"].entry.repair
        assert [(each.text, each.applies_to) for each in steps] == [
            ("Look behind the wheel.", {"system": ("bus_ac",)})
        ] * 2


def test_what_is_added_keeps_its_own_place(pack):
    folder = pack("shop", MORE)
    leak = stack([GROUND, folder]).faults["leak"]
    assert leak.place("cautions", 0).path == str(GROUND / "pack.yaml")
    assert leak.place("cautions", 1).path == str(folder / "pack.yaml")
    assert leak.place("cautions", 1).line == line_of(folder / "pack.yaml", "[ladder]")


def test_two_packs_may_add_to_the_same_list(pack):
    text = "pack: {0}\nextend:\n  leak:\n    note: By {0}.\n    confirm: Ask {0}.\n"
    one, two = (pack(name, text.format(name)) for name in ("one", "two"))
    found = stack([GROUND, one, two])
    assert [step.text for step in found.faults["leak"].entry.confirm] == ["Ask one.", "Ask two."]
    assert found.notices == ()


def test_a_list_may_be_replaced_and_then_added_to(pack):
    one = pack("one", "pack: one\nadjust: {leak: {note: x, cautions: []}}\n")
    two = pack("two", "pack: two\nextend: {leak: {note: x, cautions: gloves}}\n")
    assert stack([GROUND, one, two]).faults["leak"].entry.cautions == ("gloves",)


# -- several packs --------------------------------------------------------------------------------------------------

TOUCH = "pack: {name}\n{ground}adjust:\n  high_far: {{note: By {name}., says: {{{fault}: {weight}}}}}\n"


def test_of_two_packs_that_touch_the_same_leaf_the_later_counts_with_a_word_about_it(pack):
    one = pack("one", TOUCH.format(name="one", ground="", fault="leak", weight="for"))
    two = pack("two", TOUCH.format(name="two", ground="", fault="leak", weight="against"))
    found = stack([GROUND, one, two])
    assert found.rules["high_far"].entry.says["leak"] == -6.0
    (notice,) = found.notices
    assert notice == (
        f"{two / 'pack.yaml'}:3:36: high_far.says.leak is also changed by pack 'one' at {one / 'pack.yaml'}:3:36; "
        "this one comes later and counts (if that is meant, let 'two' build on 'one')"
    )
    assert stack([GROUND, two, one]).rules["high_far"].entry.says["leak"] == 6.0


def test_two_installed_packs_that_touch_the_same_leaf_are_told_to_agree(pack):
    one = pack("one", TOUCH.format(name="one", ground="", fault="leak", weight="for"))
    two = pack("two", TOUCH.format(name="two", ground="", fault="leak", weight="against"))
    layers = [("named", GROUND), ("installed", one), ("installed", two)]
    with pytest.raises(FileProblems) as caught:
        stack_packs([Layered(read_pack(folder), layer) for layer, folder in layers])
    (problem,) = caught.value.problems
    assert str(problem) == (
        f"{two / 'pack.yaml'}:3:36: high_far.says.leak is also changed by pack 'one'; let one of the two "
        "build on the other"
    )


def test_what_a_shop_says_counts_over_what_an_installed_pack_says_without_a_word(pack):
    one = pack("one", TOUCH.format(name="one", ground="", fault="leak", weight="for"))
    two = pack("two", TOUCH.format(name="two", ground="", fault="leak", weight="against"))
    layers = [("built-in", GROUND), ("installed", one), ("named", two)]
    found = stack_packs([Layered(read_pack(folder), layer) for layer, folder in layers])
    assert found.rules["high_far"].entry.says["leak"] == -6.0
    assert found.notices == ()


def test_two_packs_that_touch_different_leaves_both_count(pack):
    one = pack("one", TOUCH.format(name="one", ground="", fault="leak", weight="for"))
    two = pack("two", TOUCH.format(name="two", ground="", fault="dirt", weight="against"))
    rule = stack([GROUND, one, two]).rules["high_far"]
    assert dict(rule.entry.says) == {"leak": 6.0, "dirt": -6.0}
    assert rule.notes == (("one", "By one."), ("two", "By two."))


def test_a_pack_may_change_what_a_pack_it_builds_on_changed(pack):
    one = pack("one", TOUCH.format(name="one", ground="", fault="leak", weight="for"))
    two = pack("two", TOUCH.format(name="two", ground="builds_on: {one: 1}\n", fault="leak", weight="against"))
    three = pack("three", TOUCH.format(name="three", ground="builds_on: {two: 1}\n", fault="leak", weight="7 dB"))
    assert stack([GROUND, one, two]).rules["high_far"].entry.says["leak"] == -6.0
    assert stack([GROUND, one, two, three]).rules["high_far"].entry.says["leak"] == 7.0


def test_the_same_pack_twice_is_refused(pack):
    one = pack("one", "pack: shop\n")
    with pytest.raises(FileProblems, match="pack 'shop' is already in the stack; name each folder once"):
        stack([GROUND, one, one])


def test_a_rule_that_changed_since_is_to_be_looked_at_again(pack):
    old = SHOP.replace("{ground: 3}", "{ground: 1}")
    folder = pack("shop", old)
    (notice,) = stack([GROUND, folder]).notices
    assert notice == (
        f"{folder / 'pack.yaml'}:4:3: 'high_far' changed in edition 2 of 'ground', after this adjustment was written "
        f"(against edition 1); look at it again"
    )
    (folder / "pack.yaml").write_text(old.replace("{ground: 1}", "{ground: 2}"), "utf-8")
    assert stack([GROUND, folder]).notices == ()


@pytest.mark.parametrize("verb", ["adjust", "disable"])
def test_a_renamed_rule_is_still_found_with_a_word_about_it(pack, verb):
    folder = pack("shop", f"pack: shop\n{verb}:\n  glass_foams:\n    note: Ours foams anyway.\n")
    found = stack([GROUND, folder])
    assert found.notices == (
        f"{folder / 'pack.yaml'}:3:3: 'glass_foams' is now called 'glass_bubbles'; the change is applied to it",
    )
    assert ("glass_bubbles" in found.rules) == (verb == "adjust")


@pytest.mark.parametrize("verb", ["adjust", "extend", "disable"])
def test_changing_what_an_earlier_pack_disabled_has_no_effect_and_says_so(pack, verb):
    one = pack("one", "pack: one\ndisable: {high_far: {note: We never see it.}}\n")
    two = pack("two", f"pack: two\n{verb}: {{high_far: {{note: x}}}}\n")
    found = stack([GROUND, one, two])
    assert found.disabled == {"high_far": "one: We never see it."}
    (notice,) = found.notices
    what = "is disabled twice" if verb == "disable" else "has no effect here"
    where = f"{two / 'pack.yaml'}:2:{len(verb) + 4}"
    assert notice == f"{where}: 'high_far' {what}: pack 'one' disabled it at {one / 'pack.yaml'}:2:11"


def test_an_entry_that_comes_with_a_later_pack_is_told_with_the_order_that_helps(pack):
    one = pack("one", "pack: one\nadjust: {squeal: {note: x, title: y}}\n")
    two = pack(
        "two",
        "pack: two\nchecks:\n  squeal: {title: S, ask: S?, how: Listen., effort: glance, source: from memory}\n",
    )
    with pytest.raises(FileProblems, match="comes later; name 'two' first"):
        stack([GROUND, one, two])
    assert stack([GROUND, two, one]).checks["squeal"].entry.title == "y"


def test_packs_that_build_on_each_other_or_on_a_later_one_are_told(pack):
    one = pack("one", "pack: one\nbuilds_on: {two: 1}\n")
    two = pack("two", "pack: two\nbuilds_on: {one: 1}\n")
    with pytest.raises(FileProblems, match="'one' and 'two' each build on the other"):
        stack([GROUND, one, two])
    (two / "pack.yaml").write_text("pack: two\n")
    with pytest.raises(FileProblems, match="'one' builds on 'two', which comes after it; name 'two' first"):
        stack([GROUND, one, two])


@pytest.mark.parametrize("edition", ["\u00b2", "9" * 5000, "many", "-1", "1.5"])
def test_an_edition_that_is_no_small_whole_number_is_told_and_nothing_else_happens(pack, edition):
    folder = pack("shop", f"pack: shop\nadjust:\n  high_far:\n    note: x\n    changed: '{edition}'\n")
    more = pack("more", "pack: more\nbuilds_on: {shop: 1, ground: 1}\nadjust: {high_far: {note: x, title: y}}\n")
    with pytest.raises(FileProblems, match="changed"):
        stack([GROUND, folder, more])


# -- folders --------------------------------------------------------------------------------------------------------


def test_what_is_no_folder_of_rules_is_told_in_a_sentence(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file.yaml").write_text("pack: shop\n")
    for name, said in (
        ("missing", "does not exist; --rules and TWOGAUGE_RULES name folders of rules"),
        ("file.yaml", "is not a folder; name the folder that holds the pack"),
        ("empty", "holds no .yaml file; a pack needs at least one, with 'pack: name' in it"),
        ("nul\0", "does not exist"),
    ):
        with pytest.raises(InputError) as caught:
            stack([GROUND, tmp_path / name])
        assert said in str(caught.value)


def test_a_link_out_of_the_pack_is_refused(pack, tmp_path):
    folder = pack("shop", "pack: shop\n")
    (tmp_path / "secret.yaml").write_text("cautions: {}\n")
    (folder / "more.yaml").symlink_to(tmp_path / "secret.yaml")
    with pytest.raises(InputError, match="is a link that leads out of the pack; put the file itself there"):
        stack([GROUND, folder])


def test_a_link_to_a_folder_is_not_passed_over_in_silence(pack):
    folder = pack("shop", "pack: shop\n")
    other = pack("other", "cautions: {}\n")
    (folder / "more").symlink_to(other)
    with pytest.raises(InputError, match="is a link to a folder; put the folder itself there"):
        stack([GROUND, folder])


def test_a_link_to_itself_and_a_link_to_nothing_end_in_a_sentence(pack):
    for target in ("loop.yaml", "nothing.yaml"):
        folder = pack(target, "pack: shop\n")
        (folder / "loop.yaml").symlink_to(target)
        with pytest.raises(InputError):
            stack([GROUND, folder])


def test_a_pipe_is_not_waited_for(pack):
    folder = pack("shop", "pack: shop\n")
    os.mkfifo(folder / "pipe.yaml")
    with pytest.raises(FileProblems, match="not a regular file"):
        stack([GROUND, folder])


def test_more_files_than_a_pack_has_are_refused(pack):
    folder = pack("shop", {"pack.yaml": "pack: shop\n"} | {f"{i:03}.yaml": "cautions: {}\n" for i in range(499)})
    assert stack([GROUND, folder]).packs[-1].pack == "shop"
    (folder / "one_more.yaml").write_text("cautions: {}\n")
    with pytest.raises(InputError, match="holds more than 500 files or 16 MiB of rules"):
        stack([GROUND, folder])


def test_more_bytes_than_a_pack_has_are_refused(pack):
    folder = pack("shop", "pack: shop\n")
    with (folder / "big.yaml").open("wb") as file:
        file.truncate(17 * 2**20)
    with pytest.raises(InputError, match="16 MiB"):
        stack([GROUND, folder])


def test_cases_and_what_begins_with_a_dot_are_no_rules(pack):
    folder = pack(
        "shop", {"a.yaml": "pack: shop\n", "cases/one.yaml": "x: 1\n", ".b.yaml": "y: 1\n", ".git/c.yaml": ""}
    )
    assert stack([GROUND, folder]).packs[-1].pack == "shop"


# -- strangers' files -----------------------------------------------------------------------------------------------


@given(text=mutated())
def test_a_spoilt_pack_loads_or_is_told_what_is_wrong(text, tmp_path_factory):
    folder = tmp_path_factory.mktemp("spoilt")
    (folder / "pack.yaml").write_text(text, "utf-8", errors="replace")
    folders = [folder] if "faults:" in text else [GROUND, folder]
    for problem in _problems_of(folders):
        assert problem.place.line >= 1
        assert problem.message


def _problems_of(folders):
    try:
        compile_stack(stack(folders))
    except FileProblems as error:
        return error.problems
    except InputError:
        return ()
    return ()


def test_a_pack_on_the_built_in_ones_can_reach_each_of_their_kinds(pack):
    folder = pack(
        "shop",
        """\
pack: shop
builds_on: {automotive: 1}
adjust:
  low_charge: {note: Ours leak., how_common: common}
  condenser_fan: {note: Ours are on the roof., effort: some}
  high_side_vehicle: {note: Ours are new., edge: 2 K}
  just_started: {note: Ours are quick., when: {running_for: {below: 2 min}}}
  eyes_and_skin: {note: Our first-aid post., text: Rinse at the post by the door.}
  high_side_high: {note: We wash daily., says: {condenser_cooling: for}}
""",
    )
    found = stack_on_built_in([folder])
    assert found.faults["low_charge"].entry.how_common == "common"
    assert found.checks["condenser_fan"].entry.effort == "some"
    assert found.bands["high_side_vehicle"].entry.edge == "2 K"
    assert found.gates["just_started"].entry.when["running_for"].below == "2 min"
    assert found.cautions["eyes_and_skin"].entry.text == "Rinse at the post by the door."
    assert found.rules["high_side_high"].entry.says["condenser_cooling"] == 6.0
    assert compile_stack(found).rules
