"""The walk of a new author: from nothing to a pack with two rules, in force in a diagnosis.

It follows the README and what the commands themselves say, and nothing else: commands are taken from the page or from
what was printed, answers from the hints of the questions. Everything runs in processes of its own.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from terminal import ENGINE, Terminal

ROOT = Path(__file__).resolve().parents[1]
SECTION = (ROOT / "README.md").read_text("utf-8").partition("## Add a rule in five minutes")[2].partition("\n## ")[0]
READING = "refrigerant: R134a\nlow_side: 20 psi\nhigh_side: 130 psi\nambient: 90 degF\nsuction_line: 85 degF\n"


@pytest.fixture
def shop(tmp_path):
    """An empty folder, and a way to type commands in it."""

    def run(line, *, status=0):
        words = shlex.split(line)
        assert words[0] == "twogauge"
        done = subprocess.run(
            [sys.executable, "-m", *words],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(ENGINE)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == status, f"{line}\n{done.stdout}{done.stderr}"
        return done.stdout

    return tmp_path, run


def offered(said):
    """Return the commands that a command told its reader to type."""
    return re.findall(r"(?m)^  (twogauge .*)$", said)


def answer(page):
    """Answer a question by its own hint: the first thing it gives as an example, or the third of a list."""
    if found := re.search(r"Such as:? ([^;,\n]+)", page):
        return found[1].strip()
    if numbers := re.findall(r"(?m)^ +(\d)\. ", page):
        return numbers[min(2, len(numbers) - 1)]
    return ""


def test_from_nothing_to_two_rules_in_force(shop):
    folder, run = shop
    (folder / "reading.yaml").write_text(READING, "utf-8")
    before = run("twogauge diagnose reading.yaml")

    # The first rule: the line of the README.
    (line,) = re.findall(r"<!-- starts -->\n```sh\n(twogauge [^\n]*)\n```", SECTION)
    said = run(line)
    made = re.findall(r"(?<= )\S+\.yaml", said.partition(".\n")[0] + " ")
    assert [(folder / name.rstrip(".")).is_file() for name in made] == [True, True]

    # The second: by question and answer at a terminal, each answered by its hint.
    assert "`twogauge rules new` asks for it, one question at a time" in " ".join(SECTION.split())
    at = Terminal(folder, "rules", "new", built_in=True, NO_COLOR="1")
    try:
        page, asked = at.read(), []
        while True:
            asked.append(page)
            text = "our_shop" if "In which folder" in page else answer(page.partition("\n> ")[0])
            if "What is the rule called?" in page:
                text = "condenser_hardly_warm"
            if "What does it look at?" in page:
                text = "condensing_over_ambient"
            if "When does it count?" in page:
                text = "below 12 K"
            os.write(at.master, f"{text}\n".encode())
            page = at.read()
            if at.process.poll() is not None or "Wrote" in page:
                break
            assert len(asked) < 15, at.all
        assert at.end() == 0, at.all
    finally:
        at.close()
    assert "Wrote our_shop/condenser_hardly_warm.yaml" in page

    # What the command said to do next, in its order: test, then use.
    test, use = offered(page)
    assert "hold" in run(test)
    check = next(c for c in re.findall(r"(?m)^twogauge rules check .*$", SECTION))
    assert "Nothing is wrong with the 2 rules of pack our_shop." in run(f"{check} --strict")
    use = use.replace("READING.yaml", "reading.yaml")
    after = run(use)
    assert after != before
    told = json.loads(run(f"{use} --json"))
    rules = {reason["rule"] for each in told["ranking"] for reason in each["reasons"]}
    assert {"hose_is_warm", "condenser_hardly_warm"} <= rules

    # The rule that the page shows, written by hand into the same folder, as the page says.
    assert "where a `pack.yaml` stands already, without the first two lines" in SECTION
    (text,) = re.findall(r"<!-- file: our_shop/rules.yaml -->\n```yaml\n(.*?)```", SECTION, re.DOTALL)
    (folder / "our_shop" / "rules.yaml").write_text(text.split("\n", 2)[2], "utf-8")
    assert "Nothing is wrong with the 3 rules of pack our_shop." in run(check)

    # Why, from the comment at the top of the rule's own file.
    text = (folder / "our_shop" / "hose_is_warm.yaml").read_text("utf-8")
    (why,) = re.findall(r"(?m)^#   (twogauge rules why .*)$", text)
    assert "It holds" in run(why.replace("READING.yaml", "reading.yaml"))
    listed = json.loads(run("twogauge rules list --pack our_shop --rules our_shop --json"))
    mine = {each["id"] for each in listed["entries"] if each["pack"] == "our_shop" and each["kind"] == "rule"}
    assert mine == {"hose_is_warm", "condenser_hardly_warm", "brush_marks_on_the_condenser"}


def test_every_rules_command_the_section_names_is_there(shop):
    _, run = shop
    listed = set(re.findall(r"(?m)^  (\w+) ", run("twogauge rules --help").partition("Commands:")[2]))
    named = set(re.findall(r"(?:`|twogauge )rules (\w+)", SECTION))
    assert named >= {"new", "check", "test", "why", "list", "show", "packs", "book"}
    assert named <= listed
