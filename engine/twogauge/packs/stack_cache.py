"""What packs came to when they were last found sound, kept in the user's cache folder for a quick start.

Reading and validating a shop's pack takes longer than a diagnosis. What came of it is kept as plain JSON: the entries
that differ from the built-in packs as they ship, without positions and examples, and every notice, so that nothing a
person should see is lost. It is taken only if all of this is the same: each byte of each file, their names, the
version of twogauge and of Python, the engine's own files, and the form of what is kept. It is never trusted where
somebody else could have put it: folder and file must be one's own and writable by nobody else, and no link.

Whatever is wrong with it, the packs are read the long way, without a word. TWOGAUGE_NO_CACHE=1 turns it off.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import stat
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from twogauge.errors import InputError
from twogauge.files import read_bytes_bounded, write_atomically
from twogauge.packs import snapshot
from twogauge.packs.in_force import Found, Loaded, Stack, rules_folder
from twogauge.packs.installed import Installed
from twogauge.packs.pack_folder import files_of
from twogauge.packs.problems import Problem

FORMAT: Final = 1  # of what is kept
OFF: Final = "TWOGAUGE_NO_CACHE"
AT_MOST: Final = 32  # that are kept; those not used for longest go first
_MAX_BYTES: Final = 8 * 2**20  # of one
_KINDS: Final = ("cautions", "faults", "checks", "bands", "gates", "rules", "profiles", "criteria", "plans")


def folder() -> Path | None:
    """Return the folder of the user's cache, or None where there is no place for one."""
    named = os.environ.get("XDG_CACHE_HOME", "")
    if not Path(named).is_absolute():
        named = os.environ.get("LOCALAPPDATA", "") if os.name == "nt" else ""
    if named:
        return Path(named) / "twogauge"
    try:
        home = Path.home()
    except RuntimeError:
        return None
    beside = Path("Library", "Caches") if sys.platform == "darwin" else Path(".cache")
    return home / beside / "twogauge" if home.is_absolute() else None


@dataclass(frozen=True, slots=True)
class Shelf:
    """The place of what certain packs came to.

    Attributes:
        path: the file.
        named, offers: the packs.
    """

    path: Path
    named: tuple[str, ...]
    offers: tuple[Installed, ...]

    def take(self) -> Stack | None:
        """Return what is kept, or None if there is nothing that can be trusted."""
        data = _own_bytes(self.path)
        if data is None:
            return None
        digest, _, body = data.partition(b"\n")
        if digest != hashlib.sha256(body).hexdigest().encode():
            return None
        try:
            found = _stack_from(json.loads(body))
        except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
            return None
        with contextlib.suppress(OSError):
            os.utime(self.path)
        return found

    def put(self, stack: Stack) -> None:
        """Keep what the packs came to, unless a file changed while it was read; never an error."""
        shelf = shelf_for(self.named, self.offers)
        if shelf is None or shelf.path != self.path:
            return
        content = _content(stack)
        if content is None:
            return
        body = json.dumps(content, ensure_ascii=True, allow_nan=False)
        if len(body) > _MAX_BYTES:
            return
        with contextlib.suppress(OSError, InputError):
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            if _is_own(os.lstat(self.path.parent), stat.S_ISDIR):
                digest = hashlib.sha256(body.encode()).hexdigest()
                write_atomically(self.path, f"{digest}\n{body}", private=True)
                _tidy(self.path.parent)


def shelf_for(named: Iterable[str | Path], offers: Iterable[Installed] = ()) -> Shelf | None:
    """Return the place of what these packs come to; None where nothing is kept, or where they cannot be read.

    Args:
        named: the folders that a person names, in order.
        offers: the packs that are installed.
    """
    where = None if os.environ.get(OFF, "") not in {"", "0"} else folder()
    if where is None:
        return None
    packs, installed_packs = tuple(map(str, named)), tuple(offers)
    digest = hashlib.sha256()
    try:
        for text in (_circumstances(), *packs, *(repr(offer) for offer in installed_packs)):
            digest.update(_framed(text.encode()))
        for each in (*map(Path, packs), *(o.folder for o in installed_packs if o.folder is not None)):
            _take_in(digest, each)
    except (InputError, OSError, ValueError):
        return None
    return Shelf(where / f"packs-{digest.hexdigest()}.json", packs, installed_packs)


def _circumstances() -> str:
    """Return all that decides what comes of files, beside the files."""
    from twogauge import __version__  # noqa: PLC0415 - it imports this package

    here = Path(__file__).resolve().parent
    engine = sorted(
        (entry.name, entry.stat().st_size, entry.stat().st_mtime_ns)
        for place in (here, here.parent)
        for entry in os.scandir(place)
        if entry.name.endswith(".py")
    )
    built_in = snapshot.checksum(rules_folder())
    return repr((FORMAT, __version__, sys.version, sys.platform, built_in, engine))


def _take_in(digest: Any, pack: Path) -> None:
    """Add the names and bytes of a pack's files.

    Raises:
        InputError: something is wrong with the folder or a file in it.
    """
    problems: list[Problem] = []
    for path in files_of(pack, problems):
        digest.update(_framed(path.relative_to(pack).as_posix().encode()))
        digest.update(_framed(read_bytes_bounded(path, _MAX_BYTES)))
    if problems:
        raise InputError("this is told when it is read")
    digest.update(b"end of a pack")


def _framed(data: bytes) -> bytes:
    return b"%d:%b" % (len(data), data)


# -- only what is one's own ----------------------------------------------------------------------------------------


def _own_bytes(path: Path) -> bytes | None:
    """Return the bytes of a file that nobody else can have written, or None."""
    try:
        if not _is_own(os.lstat(path.parent), stat.S_ISDIR):
            return None
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(path, flags), "rb") as file:
            status = os.fstat(file.fileno())
            if not _is_own(status, stat.S_ISREG) or status.st_size > _MAX_BYTES + 100:
                return None
            return file.read(_MAX_BYTES + 100)
    except OSError:
        return None


def _is_own(status: os.stat_result, is_kind: Callable[[int], bool]) -> bool:
    if not is_kind(status.st_mode):
        return False
    if not hasattr(os, "geteuid"):  # there the folder of a user is closed to others by the system
        return True
    return status.st_uid == os.geteuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _tidy(where: Path) -> None:
    """Drop what was not used for longest, and what a program left behind that was killed."""
    kept = sorted(where.glob("packs-*.json"), key=lambda path: path.stat().st_mtime, reverse=True)
    newest = kept[0].stat().st_mtime
    lost = [path for path in where.glob(".*.tmp") if path.stat().st_mtime < newest - 3600.0]
    for path in (*kept[AT_MOST:], *lost):
        path.unlink(missing_ok=True)


# -- stacks as plain data ------------------------------------------------------------------------------------------


def _content(stack: Stack) -> dict[str, Any] | None:
    """Return what differs from the built-in packs; None where these are not as they ship."""
    shipped = snapshot.load(rules_folder())
    if shipped is None:
        return None
    changed: dict[str, dict[str, Any]] = {}
    for kind in _KINDS:
        changed[kind] = {}
        for name, loaded in getattr(stack, kind).items():
            told: dict[str, Any] = {"pack": loaded.pack, "entry": snapshot.dump(loaded.entry)}
            if loaded.notes or told != shipped[kind].get(name):
                changed[kind][name] = {**told, "notes": list(map(list, loaded.notes))}
    return {
        "packs": [snapshot.dump(header) for header in stack.packs],
        "changed": changed,
        "gone": {kind: sorted(shipped[kind].keys() - getattr(stack, kind).keys()) for kind in _KINDS},
        "disabled": dict(stack.disabled),
        "disabled_topics": sorted(stack.disabled_topics),
        "notices": list(stack.notices),
        "found": [asdict(found) for found in stack.found],
    }


def _stack_from(content: Any) -> Stack:
    """Return the stack; what was kept is the program's own writing, so that a wrong shape is any error at all."""
    ground = snapshot.built_in()
    kinds: dict[str, dict[str, Loaded[Any]]] = {}
    for kind in _KINDS:
        gone = frozenset(content["gone"][kind])
        entries = {name: loaded for name, loaded in getattr(ground, kind).items() if name not in gone}
        for name, each in content["changed"][kind].items():
            notes = tuple((pack, note) for pack, note in each["notes"])
            entries[name] = Loaded(name, snapshot.thaw(each["entry"]), None, each["pack"], notes)
        kinds[kind] = dict(sorted(entries.items()))
    return Stack(
        packs=snapshot.thaw(content["packs"]),
        **kinds,  # type: ignore[arg-type]  # one for each kind of entry
        disabled=dict(content["disabled"]),
        disabled_topics=frozenset(content["disabled_topics"]),
        notices=tuple(content["notices"]),
        found=tuple(_found_from(each) for each in content["found"]),
    )


def _found_from(kept: dict[str, Any]) -> Found:
    return Found(**{**kept, "refused": tuple(kept["refused"])})
