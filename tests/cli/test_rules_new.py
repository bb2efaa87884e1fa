"""`twogauge rules new`: files that load and prove themselves, from options and from a dialogue; nothing is lost."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from small_pack import in_place_of_the_built_in
from small_pack import program as small_program
from terminal import Terminal
from twogauge.cli.app import app
from twogauge.cli.rules.interview import Interview
from twogauge.cli.rules.new import put
from twogauge.errors import InputError
from twogauge.packs.draft import Written
from twogauge.packs.layers import program_in_force
from twogauge.packs.selftest import check_examples

WARM = ("our_shop", "--rule", "hose_is_warm", "--when", "superheat", "--above", "15K", "--says", "thirsty=for")


@pytest.fixture(autouse=True)
def small(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with in_place_of_the_built_in():
        yield


def run(*args, **how):
    return CliRunner().invoke(app, ["rules", "new", *args], **how)


def made(*args, **how):
    result = run(*args, **how)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def files():
    return sorted(path.as_posix() for path in Path().rglob("*") if path.is_file())


def refused(*args):
    before = files()
    result = run(*args)
    assert result.exit_code == 2, result.stdout
    assert files() == before
    assert "Traceback" not in result.stderr
    return " ".join(result.stderr.split())


def loaded(*folders):
    program = program_in_force(folders or ["our_shop"], from_files=True)
    assert check_examples(program) == []
    return program


# -- from options ---------------------------------------------------------------------------------------------------


def test_a_pack_is_a_commented_file_that_loads():
    said = made("our_shop", "--pack", "our_shop", "--title", "Ours: the best # of all")
    assert files() == ["our_shop/pack.yaml"]
    assert "Wrote our_shop/pack.yaml." in said
    header = loaded().stack.packs[-1]
    assert (header.pack, header.title) == ("our_shop", "Ours: the best # of all")
    assert dict(header.builds_on) == {"common": 1, "automotive": 2}
    text = Path("our_shop/pack.yaml").read_text("utf-8")
    assert len(re.findall(r"(?m)^#", text)) > 5


def test_the_changes_that_the_comments_of_a_pack_show_can_be_written_like_that():
    made("our_shop", "--pack", "our_shop")
    text = Path("our_shop/pack.yaml").read_text("utf-8")
    shown = [line[4:] for line in text.splitlines() if re.match(r"#   ( |\w+:)", line)]
    assert shown[0].startswith("adjust:")
    changes = "\n".join(shown)
    Path("our_shop/changes.yaml").write_text(changes, "utf-8")
    stack = program_in_force(["our_shop"], from_files=True).stack
    assert [rule.notes[0][1] for rule in stack.rules.values() if rule.notes] == ["With us it says less."]
    told = [advice.text for fault in stack.faults.values() if fault.notes for advice in fault.entry.confirm]
    assert told[-1] == "Look at the hoses on the roof."
    assert len(stack.disabled) == 1


def test_a_rule_is_a_commented_file_with_readings_that_prove_it_and_starts_its_pack():
    said = made(*WARM, "--source", "our log: nine buses", "--because", 'It is "{superheat}" {superheat}: warm.')
    assert files() == ["our_shop/hose_is_warm.yaml", "our_shop/pack.yaml"]
    assert "twogauge rules test our_shop" in said
    rule = loaded().stack.rules["hose_is_warm"]
    assert (rule.pack, dict(rule.entry.says)) == ("our_shop", {"thirsty": 6.0})
    assert (rule.entry.when["superheat"].above, rule.entry.when["superheat"].soft) == ("15 K", "3 K")
    assert rule.entry.because == 'It is "{superheat}" {superheat}: warm.'
    assert rule.entry.source.weights == "our log: nine buses"
    assert rule.entry.examples.holds
    assert rule.entry.examples.does_not_hold
    assert rule.entry.examples.cannot_say


def test_a_folder_and_a_title_may_be_named_as_one_likes():
    made("our shop", *WARM[1:], "--pack", "ours", "--title", "Warm:\n# hose\nsays: {thirsty: against}")
    rule = loaded("our shop").stack.rules["hose_is_warm"]
    assert rule.entry.title == "Warm: # hose says: {thirsty: against}"
    text = Path("our shop/hose_is_warm.yaml").read_text("utf-8")
    assert "#   twogauge rules test 'our shop' " in text
    assert "cannot be printed" in refused("a\nb", *WARM[1:], "--pack", "ours")


def test_a_repository_whose_only_yaml_is_hidden_holds_no_pack_yet():
    Path(".pre-commit-config.yaml").write_text("repos: []\n")
    made(".", *WARM[1:], "--pack", "ours")
    assert files() == [".pre-commit-config.yaml", "hose_is_warm.yaml", "pack.yaml"]
    assert "hose_is_warm" in loaded(".").stack.rules


def test_a_second_rule_joins_the_pack():
    made(*WARM)
    made(
        "our_shop",
        "--rule",
        "fins_flat",
        "--when",
        "fins",
        "--ask",
        "Flat?",
        "--is",
        "yes",
        "--says",
        "smothered=for",
    )
    stack = loaded().stack
    assert stack.checks["fins"].entry.ask == "Flat?"
    assert stack.rules["fins_flat"].entry.topic == "fins"


@pytest.mark.parametrize(
    "condition",
    [
        ("superheat", "--between", "5..10 K"),
        ("superheat", "--below", "3K", "--soft", "1 K"),
        ("high_side_level", "--is", "high"),
        ("high_side_level", "--is-not", "low"),
        ("paper_test", "--is-not", "falls"),
        ("condensing_over_ambient", "--above", "40K"),
        ("ambient", "--below", "20 degC"),
        ("metering", "--is", "capillary"),
        ("low_side", "--below", "10 psi", "--applies-to", "refrigerant=R134a,R12"),
        ("engine_speed", "--above", "2000 rpm", "--applies-to", "system=bus_ac"),
    ],
    ids="_".join,
)
def test_readings_are_found_that_prove_conditions_of_every_kind(condition):
    made("our_shop", "--rule", "mine", "--when", *condition, "--says", "thirsty=for", "--otherwise", "smothered=2 dB")
    assert dict(loaded().stack.rules["mine"].entry.otherwise) == {"smothered": 2.0}


def test_the_topic_is_that_of_the_rules_that_look_at_the_same():
    made("our_shop", "--rule", "mine", "--when", "high_side_level", "--is", "high", "--says", "smothered=for")
    assert loaded().stack.rules["mine"].entry.topic == "high_side_level"
    made(
        "our_shop",
        "--rule",
        "other",
        "--when",
        "ambient",
        "--above",
        "95F",
        "--says",
        "smothered=for",
        "--topic",
        "hot",
    )
    assert loaded().stack.rules["other"].entry.topic == "hot"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"--rule": "Bad"}, "cannot name a rule"),
        ({"--rule": "paper_falls"}, "paper_falls exists in pack automotive"),
        ({"--when": "superhaet"}, "did you mean 'superheat'"),
        ({"--above": "3"}, "has no unit; write it, such as 3 K"),
        ({"--above": "3C"}, "is a temperature, but a difference belongs here"),
        ({"--above": "250K"}, "no reading was found for which superheat above: 250 K"),
        ({"--says": "thrsty=for"}, "did you mean 'thirsty'"),
        ({"--says": "thirsty=very"}, "--says thirsty: 'very' is not a weight"),
        ({"--says": "thirsty"}, "write two things with = between"),
        ({"--when": "high_side", "--above": "300psi"}, "a raw pressure means something for one refrigerant only"),
        ({"--when": "paper_test", "--above": "3K"}, "is told in words; use is, is_not or any_of"),
        ({"--because": "It is {superhaet}."}, "did you mean 'superheat'"),
        ({"--because": "It is {superheat!r}."}, "is not a quantity or check known here"),
        ({"--ask": "Is it warm?"}, "superheat exists already; leave the question out"),
        ({"--applies-to": "system=boat"}, "'boat' is not a word for system known here"),
        ({"--pack": "Not A Name"}, "cannot name a pack"),
        ({"--pack": "common"}, "'common' is already in the stack"),
    ],
    ids=str,
)
def test_what_cannot_be_used_is_a_sentence_and_nothing_is_written(change, said):
    options = dict(zip(WARM[1::2], WARM[2::2], strict=True)) | change
    assert said in refused("our_shop", *(part for option in options.items() for part in option))
    assert not Path("our_shop").exists()


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--rule", "x", "--when", "superheat"), "name the folder of the pack"),
        (("our_shop", "--when", "superheat"), "give it an id as well, with --rule ID"),
        (("our_shop", "--rule", "mine"), "--when names what the rule looks at"),
        (("our_shop", "--rule", "mine", "--when", "superheat"), "say when it holds: --above"),
        (("our_shop", "--rule", "mine", "--when", "superheat", "--above", "3K"), "say what it speaks for"),
        (
            ("our_shop", "--rule", "mine", "--when", "superheat", "--between", "3K"),
            "write two ends, such as 15K..30K",
        ),
    ],
)
def test_what_is_missing_is_named(args, said):
    assert said in refused(*args)


def test_no_file_is_ever_written_over():
    made(*WARM)
    before = {name: Path(name).read_text("utf-8") for name in files()}
    assert "our_shop/hose_is_warm.yaml is there already" in refused(*WARM)
    assert "holds a pack already" in refused("our_shop", "--pack", "our_shop")
    Path("our_shop/mine.yaml").write_text("cautions: {}\n")
    before["our_shop/mine.yaml"] = "cautions: {}\n"
    assert "is there already" in refused(*(word.replace("hose_is_warm", "mine") for word in WARM))
    assert {name: Path(name).read_text("utf-8") for name in before} == before


def test_of_several_files_all_are_written_or_none():
    Path("our_shop").mkdir()
    Path("our_shop/b.yaml").write_text("mine")
    files_of_a_draft = {Path("our_shop/a.yaml"): "a: 1\n", Path("our_shop/b.yaml"): "b: 1\n"}
    with pytest.raises(InputError, match="is there already"):
        put(Path("our_shop"), Written(files_of_a_draft, "our_shop"))
    assert files() == ["our_shop/b.yaml"]
    assert Path("our_shop/b.yaml").read_text("utf-8") == "mine"


def test_a_pack_that_is_broken_already_is_told_with_its_places():
    made(*WARM)
    Path("our_shop/pack.yaml").write_text("pack: our_shop\nruels: {}\n")
    said = refused(*(word.replace("hose_is_warm", "mine") for word in WARM))
    assert said.startswith("our_shop/pack.yaml:2:1: 'ruels' is not a key here")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_cannot_be_written_to_is_a_sentence():
    Path("our_shop").mkdir(mode=0o500)
    assert "cannot be written" in refused(*WARM)


def test_a_folder_that_is_a_file_is_a_sentence():
    Path("our_shop").write_text("")
    assert "our_shop" in refused(*WARM)


def test_a_rule_may_speak_of_what_a_pack_below_it_brings():
    made(
        "ground", "--rule", "fins_flat", "--when", "fins", "--ask", "Flat?", "--is", "yes", "--says", "smothered=for"
    )
    words = ("our_shop", "--rule", "fins_fine", "--when", "fins", "--is", "no", "--says", "smothered=against")
    assert "neither a quantity nor a check" in refused(*words)
    made(*words, "--rules", "ground")
    assert "fins_fine" in loaded("ground", "our_shop").stack.rules
    made(*WARM, env={"TWOGAUGE_RULES": os.pathsep.join(("ground", "our_shop"))})


# -- by question and answer -----------------------------------------------------------------------------------------


def hear(*lines, folder=None):
    steps, said = Interview(small_program(), folder), ()
    for line in lines:
        said = steps.hear(line)
    return steps, said


STORY = (
    "our_shop",
    "hose_is_warm",
    "superheat",
    "above 15K",
    "thirsty strongly for",
    "",
    "hardly",
    "It is warm.",
    "",
)


def test_a_rule_is_told_in_nine_answers():
    steps, _ = hear(*STORY)
    assert steps.done
    draft = steps.draft()
    assert (draft.id, draft.name, dict(draft.test)) == ("hose_is_warm", "superheat", {"above": "15 K"})
    assert dict(draft.says) == {"thirsty": "strongly for", "normal": "against"}
    assert (draft.because, draft.source) == ("It is warm.", "")


def test_every_question_can_be_taken_back():
    steps, _ = hear(*STORY)
    for left in range(len(STORY) - 1, -1, -1):
        assert steps.step == left + 2
        steps.hear("b")
        assert steps.command() == hear(*STORY[:left])[0].command()
    assert "no step to go back" in steps.hear("b")[0]


@pytest.mark.parametrize(
    ("answers", "wrong", "said"),
    [
        (1, "Bad Name!", "cannot name a rule"),
        (1, "paper_falls", "exists already"),
        (2, "suprheat", "superheat: "),
        (2, "quux", "? lists them, new makes a check"),
        (2, "high_side", "take high_side_level"),
        (3, "15 K", "begin with above, below or between"),
        (3, "above 15", "has no unit"),
        (3, "above 15 psi", "15 psi"),
        (3, "between 15 K", "write two ends"),
        (4, "thrsty for", "did you mean 'thirsty'"),
        (4, "thirsty perhaps", "is not a weight"),
        (4, "", "must speak for or against something"),
        (6, "5", "type a number from 1 to 4"),
        (6, "\x1b[2Jnever\x00", "is not an answer here"),
    ],
)
def test_what_is_no_answer_is_told_and_changes_nothing(answers, wrong, said):
    steps, _ = hear(*STORY[:answers])
    before = (steps.step, steps.told)
    heard = " ".join(steps.hear(wrong))
    assert said in heard
    assert "\x1b" not in heard
    assert (steps.step, steps.told) == before


def test_a_part_of_a_name_lists_what_may_be_meant_and_its_number_chooses():
    steps, said = hear(*STORY[:2], "condens")
    assert any(line.startswith("2. ") for line in said)
    name = said[2].split()[1].rstrip(":")
    steps.hear("2")
    assert steps.told.name == name


def test_what_has_no_check_yet_gets_one():
    steps, _ = hear(
        "our_shop", "fins_flat", "new", "Are the fins laid flat?", "yes", "smothered", "", "never", "", ""
    )
    draft = steps.draft()
    assert (draft.name, draft.question, dict(draft.test)) == (
        "fins_flat_seen",
        "Are the fins laid flat?",
        {"is": "yes"},
    )
    assert dict(draft.says) == {"smothered": "for", "normal": "strongly against"}


def test_lists_are_told_on_demand():
    steps, said = hear(*STORY[:2], "?")
    assert {line.partition(":")[0] for line in said} >= {"superheat", "paper_test"}
    _, said = hear(*STORY[:4], "?")
    assert {line.partition(":")[0] for line in said} == set(small_program().stack.faults)
    assert steps.told.name is None


def test_the_command_it_tells_makes_the_same_rule():
    steps, _ = hear(*STORY)
    made(*shlex.split(steps.command())[3:])
    first = Path("our_shop/hose_is_warm.yaml").read_text("utf-8")
    made(input="\n".join(("other", *STORY[1:])) + "\n")
    assert Path("other/hose_is_warm.yaml").read_text("utf-8").replace("other", "our_shop") == first


def test_lines_of_a_pipe_are_answers_and_their_end_is_no_rule():
    said = made(input="our_shop\nhose_is_warm\n")
    assert "Stopped; nothing was written." in said
    assert "twogauge rules new our_shop --rule hose_is_warm" in said
    assert files() == []


def test_a_pack_without_a_rule_can_be_made_too():
    made(input="our_shop\n\n")
    assert files() == ["our_shop/pack.yaml"]


def test_answers_that_cannot_be_proved_are_told():
    result = run(input="\n".join((*STORY[:3], "above 250 K", *STORY[4:])) + "\n")
    assert result.exit_code == 2
    assert "no reading was found" in result.stderr
    assert files() == []


# -- a real terminal ------------------------------------------------------------------------------------------------


@pytest.fixture
def terminal(tmp_path):
    opened = []

    def start(*args):
        opened.append(Terminal(tmp_path, "rules", "new", *args))
        return opened[-1]

    yield start
    for each in opened:
        each.close()


def test_at_a_terminal_from_the_first_question_to_the_files(terminal):
    at = terminal()
    assert "1. In which folder is your pack" in at.read()
    at.type("")
    at.type("hose_is_warm")
    assert "superheat: " in at.type("superheet")
    at.type("superheat")
    assert "has no unit" in at.type("above 15")
    at.type("above 15 K")
    at.type("thirsty for")
    at.type("")
    at.type("3")
    at.type("")
    os.write(at.master, b"our log\n")
    last = at.read(until="")
    assert at.end() == 0
    assert "Wrote our_shop/pack.yaml and our_shop/hose_is_warm.yaml." in last
    assert "Traceback" not in at.all
    assert [line for line in re.sub(r"\x1b\[\d*m", "", at.all).splitlines() if len(line) > 80] == []
    assert loaded().stack.rules["hose_is_warm"].entry.source.weights == "our log"


@pytest.mark.parametrize(("key", "status"), [(b"\x03", 130), (b"\x04", 0)], ids=["Ctrl-C", "Ctrl-D"])
def test_an_interrupted_dialogue_writes_nothing_and_tells_how_to_go_on(terminal, key, status):
    at = terminal()
    at.read()
    for line in STORY[:5]:
        at.type(line)
    last = at.press(key)
    assert at.end() == status
    assert "Stopped; nothing was written." in last
    assert "Traceback" not in at.all
    assert files() == []
    command = re.search(r"twogauge rules new .*", last)[0]
    made(*shlex.split(command)[3:])
    assert dict(loaded().stack.rules["hose_is_warm"].entry.says) == {"thirsty": 10.0}


@pytest.mark.parametrize(
    "reason", ["The hose is {supreheat}.", "The hose is {superheat.__class__}.", "It is { warm."]
)
def test_a_reason_that_cannot_be_filled_in_is_asked_for_again(reason):
    steps, _ = hear(*STORY[:7])
    said = " ".join(steps.hear(reason))
    assert "is no quantity or check" in said or "a brace stands alone" in said
    assert not steps.done
    steps.hear("The hose is {superheat}.")
    steps.hear("")
    assert steps.done
    assert steps.draft().because == "The hose is {superheat}."
