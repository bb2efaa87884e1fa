"""Files are read with a bound and without waiting, and written whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from twogauge.errors import FileProblems, InputError
from twogauge.files import read_bytes_bounded, write_atomically, write_new

POSIX = pytest.mark.skipif(os.name != "posix", reason="pipes, links and permission bits are those of POSIX")


def refusal(path, limit=100):
    with pytest.raises(FileProblems) as caught:
        read_bytes_bounded(path, limit)
    assert len(caught.value.problems) == 1
    return str(caught.value).removeprefix(f"{path}:1:1: ")


def names(folder):
    return [file.name for file in folder.iterdir()]


def test_a_file_up_to_the_limit_is_read(tmp_path):
    file = tmp_path / "f"
    file.write_bytes(b"12\r\n5")
    assert read_bytes_bounded(file, 5) == b"12\r\n5"
    assert refusal(file, 4) == "this file is larger than 4 bytes; split it into smaller files"


def test_a_huge_file_is_refused_by_its_size(tmp_path):
    file = tmp_path / "f"
    with file.open("wb") as handle:
        handle.truncate(2**40)  # sparse
    assert refusal(file, 4 * 2**20) == "this file is larger than 4 MiB; split it into smaller files"


def test_what_is_not_a_file_is_refused(tmp_path):
    assert refusal(tmp_path) == "this is a folder; name a file in it"
    assert refusal(tmp_path / "gone") == "there is no such file; check the name and the folder"
    (tmp_path / "f").write_text("x")
    assert "cannot be read" in refusal(tmp_path / "f" / "inside")
    with pytest.raises(FileProblems, match="cannot be read"):
        read_bytes_bounded("nul\0inside", 100)


@POSIX
def test_a_pipe_that_lies_about_is_refused_without_waiting(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert refusal(tmp_path / "pipe") == "this is not a regular file; name a file of text"
    (tmp_path / "link").symlink_to("/dev/zero")
    assert refusal(tmp_path / "link") == "this is not a regular file; name a file of text"


@POSIX
@pytest.mark.skipif(not Path("/dev/fd").exists(), reason="no /dev/fd here")
@pytest.mark.parametrize(("size", "fits"), [(100, True), (101, False)])
def test_a_pipe_of_the_shell_is_read_up_to_the_limit(size, fits):
    reader, writer = os.pipe()
    try:
        os.write(writer, b"x" * size)
        os.close(writer)
        if fits:
            assert read_bytes_bounded(f"/dev/fd/{reader}", 100) == b"x" * size
        else:
            assert "larger than 100 bytes" in refusal(f"/dev/fd/{reader}")
    finally:
        os.close(reader)


def test_what_is_written_is_what_is_there(tmp_path):
    file = tmp_path / "f.yaml"
    write_atomically(file, "vent: 8 °C\r\n")
    assert file.read_bytes() == "vent: 8 °C\r\n".encode()
    write_atomically(str(file), "new\n")
    assert file.read_bytes() == b"new\n"
    assert names(tmp_path) == ["f.yaml"]


@POSIX
def test_permission_bits_are_kept_and_new_files_follow_the_umask(tmp_path):
    old, new = tmp_path / "old", tmp_path / "new"
    old.write_text("old")
    old.chmod(0o640)
    before = os.umask(0o027)
    try:
        write_atomically(old, "x")
        write_atomically(new, "x")
    finally:
        os.umask(before)
    assert stat.S_IMODE(old.stat().st_mode) == 0o640
    assert stat.S_IMODE(new.stat().st_mode) == 0o640  # 0o666 less 0o027


@POSIX
def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real").write_text("old")
    (tmp_path / "link").symlink_to("real")
    write_atomically(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, step):
    file = tmp_path / "f"
    file.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*((os, "fsync") if step == "fsync" else (Path, "replace")), full)
    with pytest.raises(InputError, match="No space left on device"):
        write_atomically(file, "new")
    assert file.read_text() == "old"
    assert names(tmp_path) == ["f"]


def test_where_nothing_can_be_written_a_sentence_says_so(tmp_path):
    with pytest.raises(InputError, match="not a regular file"):
        write_atomically(tmp_path, "x")
    with pytest.raises(InputError, match="cannot be written"):
        write_atomically(tmp_path / "gone" / "f", "x")
    with pytest.raises(InputError, match="cannot be written"):
        write_atomically(tmp_path / "f", "\ud800")
    assert names(tmp_path) == []


def test_an_interrupt_leaves_no_temporary_file(tmp_path, monkeypatch):
    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(tmp_path / "f", "x")
    assert names(tmp_path) == []


def test_a_new_file_is_written_whole(tmp_path):
    write_new(tmp_path / "f", "\u00e9\r\n")
    assert (tmp_path / "f").read_bytes() == b"\xc3\xa9\r\n"
    assert names(tmp_path) == ["f"]


def test_a_new_file_never_takes_the_place_of_another(tmp_path):
    (tmp_path / "f").write_text("mine")
    (tmp_path / "link").symlink_to("nothing")
    for name in ("f", "link"):
        with pytest.raises(InputError, match="is there already; nothing was written over it"):
            write_new(tmp_path / name, "yours")
    assert (tmp_path / "f").read_text() == "mine"
    assert sorted(names(tmp_path)) == ["f", "link"]


@pytest.mark.parametrize("name", ["missing/f", "nul\0"])
def test_where_no_new_file_can_be_written_a_sentence_says_so(tmp_path, name):
    with pytest.raises(InputError, match="cannot be written"):
        write_new(tmp_path / name, "x")
    assert names(tmp_path) == []


def test_a_new_file_that_cannot_be_encoded_leaves_nothing(tmp_path):
    with pytest.raises(InputError, match="cannot be written"):
        write_new(tmp_path / "f", "\ud800")
    assert names(tmp_path) == []
