"""The rules in force: the built-in packs, then those installed beside twogauge, then those a person names.

A named pack that is broken is an error, for its author is there. An installed one may be a stranger's and is left out
with a notice: it must not keep anybody from a diagnosis. Where nothing lies on the built-in packs they are taken as
they ship, and where the same files were found sound before, what they came to is taken (stack_cache.py); neither
pydantic nor YAML is touched then.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from twogauge.errors import FileProblems, InputError
from twogauge.packs import installed, snapshot
from twogauge.packs.compile import Program, compile_stack
from twogauge.packs.in_force import Found, Stack

if TYPE_CHECKING:
    from twogauge.packs.stack import Layered


def program_in_force(
    folders: Iterable[str | Path] = (), *, without: Iterable[str] = (), from_files: bool = False
) -> Program:
    """Return all rules in force, compiled.

    Args:
        folders: packs that a person names, in order; later ones count over earlier ones.
        without: ids of rules to leave out.
        from_files: read the built-in packs from their files even where a snapshot would do: it has no positions and
            no examples.

    Raises:
        FileProblems: everything that is wrong in the packs named, with file, line and column.
        InputError: a folder that is not there or holds no pack; or `without` names a rule that does not exist.
    """
    named, offers, left_out = tuple(folders), installed.find(), tuple(without)
    if not named and not offers:
        return compile_stack(_built_in(from_files=from_files), without=left_out)
    from twogauge.packs import stack_cache  # noqa: PLC0415 - not for the built-in packs alone

    shelf = None if from_files else stack_cache.shelf_for(named, offers)
    kept = None if shelf is None else shelf.take()
    if kept is not None:
        with contextlib.suppress(FileProblems):  # then the long way tells it with its places
            return compile_stack(kept, without=left_out)
    program = _read_and_compiled(named, offers, left_out, from_files=from_files)
    if shelf is not None:
        shelf.put(program.stack)
    return program


def _read_and_compiled(
    named: Sequence[str | Path],
    offers: Sequence[installed.Installed],
    left_out: tuple[str, ...],
    *,
    from_files: bool,
) -> Program:
    usable, refused = _read(offers)
    mine = [_named(folder) for folder in named]
    try:
        return _compiled(usable, mine, refused, left_out, from_files=from_files)
    except FileProblems:
        if not usable:
            raise
    usable, more = _tried(usable)
    return _compiled(usable, mine, [*refused, *more], left_out, from_files=from_files)


def ground() -> list[Layered]:
    """Return what a named pack stands on, as it was read: the built-in packs and the installed ones that are sound."""
    from twogauge.packs.stack import built_in_packs  # noqa: PLC0415 - imports pydantic

    usable, _ = _read(installed.find())
    return [*built_in_packs(), *_tried(usable)[0]]


def survey(folders: Iterable[str | Path] = ()) -> tuple[tuple[Found, ...], tuple[str, ...]]:
    """Return every pack that is found, also those that are refused, and the notices of those in force.

    Args:
        folders: packs that a person names; here a broken one is listed like the others.
    """
    offers, refused = _read(installed.find())
    usable, more = _tried(offers)
    refused += more
    for folder in folders:
        try:
            pack = _named(folder)
        except InputError as error:
            name = Path(folder).name or str(folder)
            refused.append(Found(name, "named", str(folder), refused=tuple(str(error).splitlines())))
            continue
        try:
            compile_stack(_stacked([*usable, pack]))
        except InputError as error:
            refused.append(pack.found(tuple(str(error).splitlines())))
        else:
            usable.append(pack)
    stack = _stacked(usable)
    return (*stack.found, *refused), stack.notices


def _built_in(*, from_files: bool) -> Stack:
    if not from_files:
        return snapshot.built_in()
    from twogauge.packs import stack  # noqa: PLC0415 - imports pydantic, as everything below does

    return stack.built_in()


def _named(folder: str | Path) -> Layered:
    from twogauge.packs.stack import Layered, read_pack  # noqa: PLC0415

    return Layered(read_pack(Path(folder)), "named")


def _stacked(packs: Sequence[Layered]) -> Stack:
    from twogauge.packs.stack import built_in, built_in_packs, stack_packs  # noqa: PLC0415

    return stack_packs([*built_in_packs(), *packs]) if packs else built_in()


def _compiled(
    usable: Sequence[Layered],
    named: Sequence[Layered],
    refused: Sequence[Found],
    without: tuple[str, ...],
    *,
    from_files: bool,
) -> Program:
    packs = [*usable, *named]
    stack = _stacked(packs) if packs else _built_in(from_files=from_files)
    notices = tuple(_sentence(each) for each in refused)
    stack = replace(stack, found=(*stack.found, *refused), notices=(*notices, *stack.notices))
    return compile_stack(stack, without=without)


def _sentence(refused: Found) -> str:
    first, *more = refused.refused
    by = f" ({refused.distribution})" if refused.distribution else ""
    rest = f"; and {len(more)} more, which `twogauge rules packs` tells" if more else ""
    return f"the installed pack {refused.name!r}{by} is not used: {first}{rest}"


# -- installed packs ------------------------------------------------------------------------------------------------


def _read(offers: Sequence[installed.Installed]) -> tuple[list[Layered], list[Found]]:
    """Read installed packs and put those first that others build on; say what cannot be read."""
    if not offers:
        return [], []
    from twogauge.packs.stack import Layered, read_pack  # noqa: PLC0415

    usable: list[Layered] = []
    refused: list[Found] = []
    for offer in offers:
        if offer.folder is None:
            refused.append(Found(offer.name, "installed", "", offer.distribution, refused=(offer.problem,)))
            continue
        try:
            usable.append(Layered(read_pack(offer.folder), "installed", offer.distribution))
        except (InputError, OSError) as error:
            told = tuple(str(error).splitlines())
            refused.append(
                Found(offer.name, "installed", str(offer.folder), offer.distribution, refused=told),
            )
    ordered, circular = _ordered(usable)
    return ordered, [*refused, *circular]


def _ordered(packs: Sequence[Layered]) -> tuple[list[Layered], list[Found]]:
    """Sort packs by name, each after those it builds on; what builds on each other in a circle cannot be used."""
    waiting = {each.pack.header.pack: each for each in sorted(packs, key=lambda p: p.pack.header.pack)}
    twice = [each for each in packs if waiting[each.pack.header.pack] is not each]
    done: list[Layered] = []
    while waiting:
        free = next((n for n, each in waiting.items() if not set(each.pack.header.builds_on) & set(waiting)), None)
        if free is None:
            names = ", ".join(map(repr, waiting))
            message = f"these packs build on each other in a circle: {names}; one of them must leave that out"
            return [*done, *twice], [each.found((message,)) for each in waiting.values()]
        done.append(waiting.pop(free))
    return [*done, *twice], []


def _tried(packs: Sequence[Layered]) -> tuple[list[Layered], list[Found]]:
    """Add one pack after the other, and leave out each that does not go with those before it."""
    usable: list[Layered] = []
    refused: list[Found] = []
    for each in packs:
        try:
            compile_stack(_stacked([*usable, each]))
        except InputError as error:
            refused.append(each.found(tuple(str(error).splitlines())))
        else:
            usable.append(each)
    return usable, refused
