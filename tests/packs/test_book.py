"""The book of rules: every entry once, every link leads somewhere, nothing of a stranger's text acts; never stale."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.output.book import HTML, MARKDOWN, written
from twogauge.packs.book import PAGES, book
from twogauge.packs.compile import compile_stack
from twogauge.packs.model import KINDS
from twogauge.packs.stack import built_in, stack

ROOT = Path(__file__).resolve().parents[2]
GROUND = Path(__file__).parent / "bad" / "ground"


@pytest.fixture(scope="module")
def pages():
    return book(compile_stack(built_in()))


@pytest.fixture(scope="module", params=[MARKDOWN, HTML])
def files(pages, request):
    return written(pages, request.param)


ALLOWED = {"html", "head", "meta", "title", "style", "body", "nav", "a", "h1", "h2", "h3", "p", "ul", "ol", "li"}
ALLOWED |= {"table", "tr", "th", "td"}


class Seen(HTMLParser):
    """What a browser makes of a page: links, anchors, tags, and the text."""

    def __init__(self, text):
        super().__init__()
        self.links, self.ids, self.tags, self.text, self.open = [], [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, attrs))
        self.ids += [value for name, value in attrs if name == "id"]
        self.links += [value for name, value in attrs if name == "href"]
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def links_of(name, text):
    if name.endswith(HTML):
        return Seen(text).links
    return re.findall(r"(?<!\\)\]\(([^)]*)\)", text)


def anchors_of(name, text):
    if name.endswith(HTML):
        return Seen(text).ids
    return [line.lstrip("# ").replace(" ", "-").lower() for line in text.splitlines() if line.startswith("#")]


def test_every_section_of_a_pack_has_a_page():
    assert set(PAGES) == set(KINDS)


def test_every_entry_in_force_has_a_heading_on_the_page_of_its_section(files):
    for section in PAGES:
        entries = getattr(built_in(), section)
        if entries:
            (name,) = (name for name in files if name.startswith(f"{section}."))
            assert set(entries) <= set(anchors_of(name, files[name]))
            assert len(anchors_of(name, files[name])) == len(set(anchors_of(name, files[name])))


def test_every_link_leads_to_an_anchor_of_the_book(files):
    anchors = {name: set(anchors_of(name, text)) for name, text in files.items()}
    count = 0
    for name, text in files.items():
        for link in links_of(name, text):
            page, _, anchor = link.partition("#")
            assert page in files, f"{name}: {link}"
            assert not anchor or anchor in anchors[page], f"{name}: {link}"
            count += 1
    assert count > 1000


def test_a_fault_a_rule_and_a_check_lead_to_each_other(pages):
    page = written(pages, MARKDOWN)
    rule = built_in().rules["sight_glass_bubbles"]
    fault, check = next(iter(rule.entry.says)), next(iter(rule.entry.when))
    after = {
        name: text.partition(f"\n## {entry}\n")[2]
        for name, text, entry in (("fault", page["faults.md"], fault), ("check", page["checks.md"], check))
    }
    assert "(rules.md#sight_glass_bubbles)" in after["fault"].partition("\n## ")[0]
    assert "(rules.md#sight_glass_bubbles)" in after["check"].partition("\n## ")[0]
    mine = page["rules.md"].partition("\n### sight_glass_bubbles\n")[2].partition("\n### ")[0]
    assert f"(faults.md#{fault})" in mine
    assert f"(checks.md#{check})" in mine


def test_every_entry_names_its_source_and_rules_their_examples(pages):
    page = written(pages, MARKDOWN)
    entries = sum(len(getattr(built_in(), section)) for section in PAGES)
    assert sum(text.count("\nSource: ") for text in page.values()) == entries
    proved = [*built_in().rules.values(), *built_in().gates.values()]
    held = sum(len(each.entry.examples.holds) for each in proved)
    assert (page["rules.md"] + page["gates.md"]).count("\n| holds |") == held


def test_the_pages_are_complete_and_load_nothing(pages):
    for text in written(pages, HTML).values():
        seen = Seen(text)
        assert seen.open == []
        assert {tag for tag, _ in seen.tags} <= ALLOWED
        assert not any(name in {"src", "onload", "onclick", "style"} for _, attrs in seen.tags for name, _ in attrs)
        assert not re.search(r"url\(|@import|https?:", text.partition("</style>")[0])


HOSTILE = """\
pack: shop
cautions:
  trap:
    text: "<script>alert(1)</script> [x](javascript:alert(1)) ![y](http://e.example/z) | `code` *b* &amp; # not a head"
    source: "<b>from memory</b>"
rules:
  high_far_too:
    topic: high
    title: "<img src=x onerror=alert(1)>"
    when: {glass: {is: bubbles}}
    says: {leak: for}
    because: "> quoted | {glass} <!-- gone -->"
    source: from memory
    examples: {holds: [{glass: bubbles}], does_not_hold: [{glass: clear}]}
"""


@pytest.fixture
def hostile(tmp_path):
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "pack.yaml").write_text(HOSTILE, "utf-8")
    return book(compile_stack(stack([GROUND, tmp_path / "shop"])))


def test_text_of_strangers_is_text_in_html(hostile):
    text = written(hostile, HTML)["cautions.html"]
    seen = Seen(text)
    assert {tag for tag, _ in seen.tags} <= ALLOWED
    assert "<script>alert(1)</script> [x](javascript:alert(1))" in "".join(seen.text)
    assert not any("javascript" in link or "example" in link for link in seen.links)
    assert "<img src=x onerror=alert(1)>" in "".join(Seen(written(hostile, HTML)["rules.html"]).text)


def test_text_of_strangers_is_text_in_markdown(hostile):
    text = "".join(written(hostile, MARKDOWN).values())
    body = text.replace("<!-- Generated by `twogauge rules book`; do not edit. -->", "")
    assert not re.search(r"(?<!\\)[<>`]", body)
    assert not any("javascript" in link or "example" in link for link in links_of("x.md", body))
    rows = [re.sub(r"\\\|", "", line) for line in body.splitlines() if line.startswith("|")]
    assert {row.count("|") for row in rows} <= {3, 4, 5}
    assert "\\# not a head" in body


def test_a_disabled_entry_and_a_change_stand_in_the_book_with_their_reasons(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: shop\ndisable: {glass_bubbles: {note: We have none.}}\nadjust: {leak: {note: Ours do., how_common: rare}}\n"
    )
    page = written(book(compile_stack(stack([GROUND, tmp_path]))), MARKDOWN)
    assert "glass_bubbles, rule of ground, by shop: We have none." in page["index.md"]
    assert "glass_bubbles" not in page["rules.md"]
    assert "Changed by shop: Ours do." in page["faults.md"]


# -- the command ----------------------------------------------------------------------------------------------------


def run(*args):
    return CliRunner().invoke(app, ["rules", "book", *args])


def test_the_same_rules_give_the_same_pages_wherever_one_stands(tmp_path, monkeypatch):
    assert run("--out", str(tmp_path / "one")).exit_code == 0
    monkeypatch.chdir(tmp_path)
    assert run("--out", "other").exit_code == 0
    one, other = ({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("one", "other"))
    assert one == other
    assert {name.partition(".")[2] for name in one} == {"md", "html"}
    assert not any(str(tmp_path).encode() in text or str(ROOT).encode() in text for text in one.values())


def test_a_stale_page_is_told_and_written_anew(tmp_path):
    folder = str(tmp_path / "book")
    assert run("--check", folder).exit_code == 1
    assert run("--out", folder, "--format", "html").exit_code == 0
    assert run("--check", folder, "--format", "html").exit_code == 0
    assert run("--check", folder).exit_code == 1
    page = tmp_path / "book" / "checks.html"
    page.write_text(page.read_text("utf-8") + " ", "utf-8")
    result = run("--check", folder, "--format", "html")
    assert result.exit_code == 1
    assert "Stale: checks.html." in result.stdout


def test_a_page_whose_section_is_gone_is_stale_and_taken_away_but_nobody_elses(tmp_path):
    folder = tmp_path / "book"
    shop = str(ROOT / "examples" / "bus_depot")
    assert run("--out", str(folder), "--rules", shop).exit_code == 0
    (folder / "notes.md").write_text("mine")
    assert (folder / "profiles.md").exists()
    result = run("--check", str(folder))
    assert "profiles.md" in " ".join(result.stdout.split())
    assert run("--out", str(folder)).exit_code == 0
    assert not (folder / "profiles.md").exists()
    assert (folder / "notes.md").read_text() == "mine"
    assert run("--check", str(folder)).exit_code == 0


@pytest.mark.parametrize("args", [(), ("--out", "a", "--check", "b")])
def test_it_needs_one_folder(args):
    result = run(*args)
    assert result.exit_code == 2
    assert "--out DIR" in result.stderr


def test_a_folder_that_is_a_file_is_a_sentence(tmp_path):
    (tmp_path / "book").write_text("")
    assert run("--out", str(tmp_path / "book")).exit_code == 2
