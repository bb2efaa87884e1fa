"""What packs came to, kept for a quick start: the same answers, and nothing that cannot be trusted is taken."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

import twogauge
from twogauge.diagnosis import diagnose
from twogauge.errors import FileProblems, InputError
from twogauge.packs import layers, stack_cache
from twogauge.packs.in_force import Stack
from twogauge.packs.layers import program_in_force
from twogauge.reading import Reading

DEPOT = Path(__file__).resolve().parents[2] / "examples" / "bus_depot"
READINGS = (
    Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF", system="bus_ac"),
    Reading(refrigerant="R134a", low_side="12 psi", high_side="330 psi", ambient="95 degF", system="bus_ac"),
    Reading(profile="bus_line_4", low_side="30 psi", high_side="200 psi", ambient="85 degF"),
    Reading(low_side="low", high_side="low", system="car_ac"),
)


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    """A cache folder of one's own, switched on."""
    monkeypatch.delenv(stack_cache.OFF)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "twogauge"


@pytest.fixture
def shop(tmp_path):
    """A copy of the shop's pack that may be changed."""
    return Path(shutil.copytree(DEPOT, tmp_path / "shop"))


def kept(cache):
    return sorted(cache.glob("packs-*.json"))


@pytest.fixture
def long_way(monkeypatch):
    """Counts how often packs are really read."""
    counted = []
    before = layers._read_and_compiled
    monkeypatch.setattr(layers, "_read_and_compiled", lambda *a, **k: counted.append(1) or before(*a, **k))
    return counted


def test_the_second_time_nothing_is_read_and_every_answer_is_the_same(cache, shop, long_way):
    first = program_in_force([shop])
    second = program_in_force([shop])
    assert len(long_way) == 1
    assert len(kept(cache)) == 1
    assert (second.hypotheses, second.rules, second.gates, second.topics, second.answers) == (
        first.hypotheses,
        first.rules,
        first.gates,
        first.topics,
        first.answers,
    )
    assert repr(second.bands) == repr(first.bands)
    for reading in READINGS:
        assert repr(diagnose(reading, program=second)) == repr(diagnose(reading, program=first))


def test_everything_in_force_is_the_same_but_for_places(shop):
    first, second = program_in_force([shop]).stack, program_in_force([shop]).stack
    for kind in stack_cache._KINDS:
        mine, theirs = getattr(first, kind), getattr(second, kind)
        assert list(mine) == list(theirs)
        for name, loaded in mine.items():
            assert (loaded.pack, loaded.notes) == (theirs[name].pack, theirs[name].notes)
    for name in ("disabled", "disabled_topics", "notices", "found"):
        assert getattr(first, name) == getattr(second, name)
    assert {"packs", "taken_out", "disabled", "disabled_topics", "notices", "found", *stack_cache._KINDS} == {
        *Stack.__dataclass_fields__
    }


def test_notices_are_told_every_time(tmp_path):
    change = "adjust:\n  high_side_vehicle:\n    note: Ours.\n    edge: 5 K\n"
    folders = [tmp_path / "one", tmp_path / "other"]
    for folder in folders:
        folder.mkdir()
        (folder / "pack.yaml").write_text(f"pack: {folder.name}\n{change}", "utf-8")
    first, second = program_in_force(folders), program_in_force(folders)
    assert any("is also changed by pack 'one'" in notice for notice in first.stack.notices)
    assert second.stack.notices == first.stack.notices


def test_a_rule_can_be_left_out_of_what_is_kept(shop):
    program_in_force([shop])
    rule = program_in_force([shop]).rules[0].id
    assert rule not in {r.id for r in program_in_force([shop], without=[rule]).rules}
    with pytest.raises(InputError):
        program_in_force([shop], without=["no_such_rule_at_all"])


def test_where_places_are_asked_for_nothing_is_taken_from_it(shop):
    program_in_force([shop])
    program = program_in_force([shop], from_files=True)
    assert all(loaded.node is not None for loaded in program.stack.rules.values())


@pytest.mark.parametrize("change", ["content", "a new file", "one less", "another name"])
def test_a_changed_pack_is_read_again(shop, long_way, change):
    more = shop / "more.yaml"
    if change != "a new file":
        more.write_text("checks: {}\n", "utf-8")
    program_in_force([shop])
    program_in_force([shop])
    assert len(long_way) == 1
    if change == "content":
        more.write_text("checks: {}\n\n", "utf-8")
    elif change == "a new file":
        more.write_text("checks: {}\n", "utf-8")
    elif change == "one less":
        more.unlink()
    else:
        more.rename(shop / "others.yaml")
    program_in_force([shop])
    assert len(long_way) == 2


@pytest.mark.parametrize("what", ["twogauge", "form", "python", "built-in packs", "engine"])
def test_under_another_version_of_anything_nothing_is_taken(shop, monkeypatch, what):
    program_in_force([shop])
    assert stack_cache.shelf_for([shop]).take() is not None
    if what == "twogauge":
        monkeypatch.setattr(twogauge, "__version__", "999.0")
    elif what == "form":
        monkeypatch.setattr(stack_cache, "FORMAT", stack_cache.FORMAT + 1)
    elif what == "python":
        monkeypatch.setattr(sys, "version", "4.0")
    elif what == "built-in packs":
        monkeypatch.setattr(stack_cache.snapshot, "checksum", lambda _: "other")
    else:
        monkeypatch.setattr(stack_cache, "__file__", str(shop / "packs" / "stack_cache.py"))
        (shop / "packs").mkdir()
    assert stack_cache.shelf_for([shop]).take() is None


def spoil(path, how):
    data = path.read_bytes()
    if how == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "one byte":
        path.write_bytes(data.replace(b"notices", b"notice5", 1))
    elif how == "writable by others":
        path.chmod(0o666)
    elif how == "folder writable by others":
        path.parent.chmod(0o777)
    elif how == "link":
        elsewhere = path.parent.parent / "elsewhere.json"
        path.rename(elsewhere)
        path.symlink_to(elsewhere)
    elif how == "link to the folder":
        elsewhere = path.parent.parent / "elsewhere"
        path.parent.rename(elsewhere)
        path.parent.symlink_to(elsewhere, target_is_directory=True)
    elif how == "pipe":
        path.unlink()
        os.mkfifo(path)
    else:
        path.unlink()
        path.mkdir()


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
@pytest.mark.parametrize(
    "how",
    [
        "cut",
        "empty",
        "one byte",
        "writable by others",
        "folder writable by others",
        "link",
        "link to the folder",
        "pipe",
        "a folder",
    ],
)
def test_what_is_spoilt_or_open_to_others_is_not_taken_and_nobody_notices(cache, shop, long_way, how):
    first = program_in_force([shop])
    path = kept(cache)[0]
    spoil(path, how)
    assert stack_cache.shelf_for([shop]).take() is None
    again = program_in_force([shop])
    assert len(long_way) == 2
    assert again.rules == first.rules


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_what_is_spoilt_is_made_anew_and_closed_to_others(cache, shop):
    old = os.umask(0)
    try:
        program_in_force([shop])
    finally:
        os.umask(old)
    path = kept(cache)[0]
    assert (path.stat().st_mode & 0o777, path.parent.stat().st_mode & 0o777) == (0o600, 0o700)
    spoil(path, "writable by others")
    program_in_force([shop])
    assert path.stat().st_mode & 0o777 == 0o600
    assert stack_cache.shelf_for([shop]).take() is not None


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="owners of POSIX")
def test_what_somebody_else_put_there_is_not_taken(shop, monkeypatch):
    program_in_force([shop])
    assert stack_cache.shelf_for([shop]).take() is not None
    nobody = os.geteuid() + 1
    monkeypatch.setattr(os, "geteuid", lambda: nobody)
    assert stack_cache.shelf_for([shop]).take() is None


def test_a_whole_file_of_a_wrong_shape_is_not_taken(cache, shop):
    program_in_force([shop])
    path = kept(cache)[0]
    for body in (b"[]", b"{}", b"null", b"[" * 100_000, b'{"packs": 3}'):
        path.write_bytes(hashlib.sha256(body).hexdigest().encode() + b"\n" + body)
        assert stack_cache.shelf_for([shop]).take() is None


@pytest.mark.parametrize("place", ["a file is there", "nowhere"])
def test_where_nothing_can_be_kept_the_answers_come_all_the_same(tmp_path, monkeypatch, shop, place):
    where = tmp_path / "cache"
    where.write_text("", "utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(where if place == "a file is there" else Path("/proc/none")))
    assert program_in_force([shop]).rules == program_in_force([shop]).rules


def test_it_can_be_turned_off(cache, shop, monkeypatch):
    monkeypatch.setenv(stack_cache.OFF, "1")
    program_in_force([shop])
    assert not cache.exists()


def test_a_broken_pack_is_told_with_its_places_every_time(cache, shop):
    (shop / "wrong.yaml").write_text("rules:\n  Wrong: {}\n", "utf-8")
    for _ in range(2):
        with pytest.raises(FileProblems, match=r"wrong\.yaml:2:3"):
            program_in_force([shop])
    assert not kept(cache)


def test_a_file_that_changed_while_it_was_read_is_not_kept(cache, shop):
    shelf = stack_cache.shelf_for([shop])
    stack = program_in_force([shop], from_files=True).stack
    (shop / "more.yaml").write_text("checks: {}\n", "utf-8")
    shelf.put(stack)
    assert not kept(cache)


def test_no_more_than_some_are_kept_and_those_used_last_stay(cache, shop, monkeypatch):
    monkeypatch.setattr(stack_cache, "AT_MOST", 3)
    more = shop / "more.yaml"
    for i in range(5):
        more.write_text(f"checks: {{}}\n# {i}\n", "utf-8")
        program_in_force([shop])
        for age, path in enumerate(kept(cache)):
            if path != stack_cache.shelf_for([shop]).path:
                os.utime(path, (1e9 + i - age, 1e9 + i - age))
    assert len(kept(cache)) == 3
    assert stack_cache.shelf_for([shop]).take() is not None


def test_many_writers_at_a_time_leave_a_whole_entry_and_nothing_else(cache, shop):
    shelf = stack_cache.shelf_for([shop])
    stack = program_in_force([shop], from_files=True).stack
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda _: (shelf.put(stack), shelf.take()), range(40)))
    assert [path.name for path in cache.iterdir()] == [shelf.path.name]
    assert shelf.take().rules.keys() == stack.rules.keys()


def test_a_second_run_of_the_command_prints_the_same(cache, shop):
    command = [sys.executable, "-m", "twogauge", "diagnose", "--refrigerant", "R134a", "--low", "35psi"]
    command += ["--high", "330psi", "--ambient", "90F", "--system", "bus_ac", "--rules", str(shop)]
    runs = [subprocess.run(command, check=True, capture_output=True).stdout for _ in range(2)]
    off = subprocess.run(command, check=True, capture_output=True, env={**os.environ, stack_cache.OFF: "1"}).stdout
    assert runs[0] == runs[1] == off
    assert len(kept(cache)) == 1


def test_with_what_is_kept_no_validator_and_no_parser_is_imported(shop):
    program_in_force([shop])
    look = (
        "import sys; from twogauge.packs.layers import program_in_force; program_in_force([sys.argv[1]]);"
        "print([m for m in ('pydantic', 'yaml') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", look, str(shop)], check=True, capture_output=True, text=True)
    assert told.stdout.strip() == "[]"


def test_the_order_of_packs_and_their_names_are_part_of_the_key(shop, tmp_path):
    other = Path(shutil.copytree(shop, tmp_path / "other"))
    places = {
        stack_cache.shelf_for(folders).path
        for folders in ([shop], [other], [shop, other], [other, shop], [shop, shop])
    }
    assert len(places) == 5


def test_an_installed_pack_is_part_of_the_key(shop):
    offer = stack_cache.Installed("depot", "depot-rules 1.0", shop)
    newer = replace(offer, distribution="depot-rules 1.1")
    assert len({stack_cache.shelf_for([], offers).path for offers in ([], [offer], [newer])}) == 3
