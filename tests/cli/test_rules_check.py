"""`twogauge rules check` and `explain` at the terminal: exit status, formats, and help that helps."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from twogauge.cli.app import app
from twogauge.packs.codes import CODES

WRONG = "pack: shop\nadjust:\n  high_side_hihg:\n    note: x\n"
DOUBTFUL = "pack: shop\ncautions:\n  goggles: {text: Wear goggles., source: from memory}\n"


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def write(text):
        folder = Path("shop")
        folder.mkdir(exist_ok=True)
        (folder / "pack.yaml").write_text(text, "utf-8")
        return str(folder)

    return write


def run(*args):
    return CliRunner().invoke(app, ["rules", *args])


def test_what_ships_is_clean():
    result = run("check", "--strict")
    assert result.exit_code == 0
    assert re.fullmatch(
        r"Nothing is wrong with the \d+ rules of packs common, automotive, stationary\.\n`twogauge rules test` runs the "
        r"examples and cases\.\n",
        result.stdout,
    )


def test_an_error_ends_with_one_and_a_suggestion(shop):
    result = run("check", shop(WRONG))
    assert result.exit_code == 1
    first, source, mark, *_, last = result.stdout.splitlines()
    assert first.startswith(
        "shop/pack.yaml:3:3: unknown-id: this pack adjusts 'high_side_hihg', which does not exist;"
    )
    assert "did you mean 'high_side_high'" in first
    assert source[mark.index("^") :] == "high_side_hihg:"
    assert last.startswith("1 error in pack shop.")


@pytest.mark.parametrize(
    ("content", "named"),
    [
        ("pack: my_shop\ntitle: [\n", "my_shop"),
        ("pack: my_shop\ntitle: 'a\u202eb'\n", "my_shop"),
        ("pack: 7 up\ntitle: x\n", "the_folder"),
        ("title: x\n", "the_folder"),
    ],
)
def test_a_pack_whose_head_cannot_be_read_is_called_by_its_name_or_its_folder(tmp_path, content, named):
    folder = tmp_path / "the_folder"
    folder.mkdir()
    (folder / "pack.yaml").write_text(content, encoding="utf-8")
    done = run("check", str(folder))
    assert done.exit_code == 1
    assert re.search(rf"^\d errors? in pack {named}\.", done.output, re.MULTILINE)


def test_a_warning_ends_with_one_only_if_strict(shop):
    folder = shop(DOUBTFUL)
    assert run("check", folder).exit_code == 0
    assert "1 warning in pack shop." in run("check", folder).stdout
    assert run("check", folder, "--strict").exit_code == 1


@pytest.mark.parametrize("name", ["nothing_there", "file.yaml", "empty"])
def test_wrong_use_ends_with_two(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    Path("file.yaml").write_text("pack: shop\n")
    Path("empty").mkdir()
    result = run("check", name)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert name in result.stderr


def test_the_formats_say_the_same(shop):
    folder = shop(WRONG)
    told = json.loads(run("check", folder, "--format", "json").stdout)
    (problem,) = told["problems"]
    assert (problem["file"], problem["line"], problem["column"]) == ("shop/pack.yaml", 3, 3)
    assert (problem["code"], problem["severity"]) == ("unknown-id", "error")
    annotated = run("check", folder, "--format", "annotations")
    assert annotated.exit_code == 1
    assert annotated.stdout.startswith("::error file=shop/pack.yaml,line=3,col=3,title=unknown-id::this pack adjusts")
    assert problem["message"] in annotated.stdout


def test_a_clean_pack_gives_an_empty_list_in_every_format(shop):
    folder = shop("pack: shop\n")
    assert json.loads(run("check", folder, "--format", "json").stdout)["problems"] == []
    assert run("check", folder, "--format", "annotations").stdout.strip() == ""


def test_folders_of_the_environment_are_checked_too(shop, monkeypatch):
    monkeypatch.setenv("TWOGAUGE_RULES", shop(WRONG))
    assert run("check").exit_code == 1


def test_every_code_is_listed_and_explained():
    listed = run("explain").stdout
    for name, code in CODES.items():
        assert re.search(rf"(?m)^{name}(?: \(warning\))?$", listed)
        told = run("explain", name)
        assert told.exit_code == 0
        assert told.stdout.startswith(f"{name} ({code.severity})\n")
        assert code.meaning in " ".join(told.stdout.split())
        assert all(len(line) <= 84 for line in told.stdout.splitlines())
        for example in (code.bad, code.good):
            assert f"    {example.splitlines()[0][:40].replace(chr(9), chr(9))}" in told.stdout


def test_an_unknown_code_is_a_sentence_with_a_suggestion():
    result = run("explain", "unknown-falt")
    assert result.exit_code == 2
    assert "did you mean 'unknown-fault'" in result.stderr
