"""Packs that mean harm: each is refused with a sentence or taken for what it says, and nothing is drowned or run."""

from __future__ import annotations

import tracemalloc

import pytest
from typer.testing import CliRunner

from spoilt_packs import GROUND
from twogauge.cli.app import app
from twogauge.packs.check import check_packs

RULE = """\
  {name}:
    topic: tried
    title: {title}
    when: {{glass: {{is: bubbles}}}}
    says: {{leak: {weight} dB}}
    because: {because}
    source: common practice
    examples: {{holds: [{{glass: bubbles}}], does_not_hold: [{{glass: clear}}]}}
"""


def rule(name="tried", title="x", weight="5", because="x"):
    return RULE.format(name=name, title=title, weight=weight, because=because)


@pytest.fixture
def pack(tmp_path):
    """Write the files of a pack (text for one) and return its folder."""

    def write(files, name="shop"):
        folder = tmp_path / name
        for file, text in {"pack.yaml": files}.items() if isinstance(files, str) else files.items():
            (folder / file).parent.mkdir(parents=True, exist_ok=True)
            (folder / file).write_text(text, "utf-8", errors="surrogatepass")
        return folder

    return write


def codes(*folders):
    return [problem.code for problem in check_packs(folders, on=[GROUND]).problems]


def printed(*arguments):
    result = CliRunner().invoke(app, [*arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.stdout + result.stderr


def test_aliases_cannot_grow(pack):
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 12)]
    folder = pack("pack: shop\n" + "\n".join(lines) + "\n")
    tracemalloc.start()
    found = codes(folder)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert set(found) == {"anchor"}
    assert peak < 20e6


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? "])
def test_depth_is_bounded(pack, opening):
    assert codes(pack(f"pack: shop\ntitle:\n  {opening * 50_000}")) == ["too-deep"]


def test_a_file_of_a_hundred_megabytes_is_not_read(pack):
    folder = pack("pack: shop\n")
    with (folder / "big.yaml").open("wb") as file:
        file.truncate(100 * 2**20)
    tracemalloc.start()
    found = codes(folder)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == ["too-large"]
    assert peak < 20e6


def test_more_values_than_a_file_may_have_are_refused(pack):
    assert codes(pack("pack: shop\ntitle: [" + "x, " * 250_000 + "]\n")) == ["too-large"]


def test_ten_thousand_rules_are_checked(pack):
    files = {
        f"{n}.yaml": ("pack: shop\n" if n == 0 else "")
        + "rules:\n"
        + "".join(
            rule(f"r_{n}_{i}", weight=f"{1 + (i % 18)}").replace("tried", f"t{n}x{i // 19}") for i in range(1000)
        )
        for n in range(10)
    }
    report = check_packs([pack(files)], on=[GROUND])
    assert report.rules == 10_000
    assert {problem.code for problem in report.problems} == {"hidden"}  # of 19 in a topic the loudest counts


def test_twenty_thousand_mistakes_are_told_though_not_each_with_a_likely_name(pack):
    said = ", ".join(f"leak{i}: for" for i in range(20_000))
    problems = check_packs([pack("pack: shop\nrules:\n" + rule().replace("leak: 5 dB", said))], on=[GROUND]).problems
    assert len(problems) == 20_000
    assert "did you mean 'leak'" in problems[0].message + problems[-1].message
    assert sum("did you mean" in problem.message for problem in problems) < 1000


def test_packs_that_build_on_each_other_are_told_so(pack):
    change = "adjust:\n  high_far: {{note: x, says: {{leak: {weight}}}}}\n"
    one = pack("pack: one\nbuilds_on: {two: 1}\n" + change.format(weight="for"), "one")
    two = pack("pack: two\nbuilds_on: {one: 1}\n" + change.format(weight="against"), "two")
    problems = check_packs([one, two], on=[GROUND]).problems
    assert [(problem.code, "each build on the other" in problem.message) for problem in problems] == [
        ("builds-on", True)
    ]


def test_former_ids_in_a_circle_are_told(pack):
    fault = "  {}: {{title: x, how_common: rare, what_happens: x, source: x, formerly: {}}}\n"
    folder = pack("pack: shop\nfaults:\n" + fault.format("one", "two") + fault.format("two", "one"))
    assert codes(folder).count("formerly") == 2


def test_a_link_out_of_the_pack_is_refused_and_nothing_of_what_it_leads_to_is_shown(pack, tmp_path):
    (tmp_path / "secret.yaml").write_text("password: hunter2\n")
    folder = pack("pack: shop\n")
    (folder / "more.yaml").symlink_to(tmp_path / "secret.yaml")
    (folder / "deeper").symlink_to(tmp_path)
    assert codes(folder) == ["link", "link"]
    for form in ("text", "json", "annotations"):
        assert "hunter2" not in printed("rules", "check", str(folder), "--format", form)


ATTRIBUTES = [
    "{ambient.__class__}",
    "{ambient[0]}",
    "{0.__init__.__globals__}",
    "{ambient!r:>9999999}",
    "{{{ambient}}}",
]


@pytest.mark.parametrize("template", ATTRIBUTES)
def test_a_reason_reaches_for_nothing(pack, template):
    assert set(codes(pack("pack: shop\nrules:\n" + rule(because=f"'{template}'")))) == {"braces"}


@pytest.mark.parametrize("template", ["{ambient.__class__}", "{0}", "%s%n", "$(id)", "`id`", "{{"])
def test_texts_that_hold_no_values_are_printed_as_they_stand(pack, template):
    check = "checks:\n  squeal: {title: x, ask: x, how: x, effort: glance, source: x}\n"
    text = rule(title=f"'Title {template}'").replace("leak: 5", "low_charge: 9")
    text = text.replace("glass: {is: bubbles}", "squeal: {is: yes}")
    text = text.replace("{glass: bubbles}", "{squeal: yes}").replace("{glass: clear}", "{squeal: no}")
    folder = str(pack(f"pack: shop\n{check}rules:\n{text}"))
    shown = printed(
        "diagnose", "--low", "low", "--high", "low", "--rules", folder, "--check", "squeal=yes", "--verbose"
    )
    assert f"Title {template}" in shown


CONTROLS = ["\x1b[31m", "\x07", "\x9b2J", "\u202e", "\u2066", "\u2028", "\x7f", "\ufeff", "\x00"]


@pytest.mark.parametrize("evil", CONTROLS)
def test_control_and_direction_characters_are_refused_and_never_shown(pack, evil):
    folder = pack("pack: shop\nrules:\n" + rule(because=f"'so {evil}said'"))
    assert codes(folder) == ["bad-character"]
    escaped = "".join(f"\\u{ord(c):04x}" for c in evil)
    assert set(codes(pack("pack: shop\nrules:\n" + rule(because=f'"so {escaped}said"'), "other"))) == {
        "bad-character"
    }
    for form in ("text", "json", "annotations"):
        shown = printed("rules", "check", str(folder), "--format", form)
        assert all(c.isprintable() or c == "\n" for c in shown)


@pytest.mark.parametrize("odd", ["\u200e", "\u200b", "\u061c", "\u00ad", "\U000e0041", "\u2060"])
def test_other_characters_nobody_sees_are_marked_at_the_terminal(pack, odd):
    fault = f"faults:\n  belt: {{title: 'Be{odd}lt', how_common: rare, what_happens: 'It{odd} stands.', source: x}}\n"
    folder = str(pack(f"pack: shop\n{fault}rules:\n" + rule(because=f"'so {odd}said'", title=f"'a{odd}b'")))
    for command in (["faults", "--rules", folder], ["check", folder], ["test", folder]):
        assert all(c.isprintable() or c == "\n" for c in printed("rules", *command))


def test_names_of_files_and_folders_cannot_speak_to_the_terminal_either(pack):
    folder = pack({"pa\x1b[31mck.yaml": "pack: shop\nruels: {}\n"}, "sh\u202eop")
    for form in ("text", "annotations"):
        shown = printed("rules", "check", str(folder), "--format", form)
        assert "unknown-key" in shown
        assert all(c.isprintable() or c == "\n" for c in shown)
