"""The cautions that stand beside a work: those of the packs in force that name it, and those of the refrigerant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from twogauge.diagnosis import Warned, cautions_of, own_cautions
from twogauge.fields import FIELDS
from twogauge.reading import Reading

if TYPE_CHECKING:
    from twogauge.packs.in_force import Stack
    from twogauge.refrigerants import Refrigerant


def cautions_beside(
    works: Iterable[str],
    stack: Stack,
    refrigerant: Refrigerant | None = None,
    *,
    system: str | None = None,
    own: bool = False,
) -> tuple[Warned, ...]:
    """Return the cautions of these works, in the order of the packs, each once.

    Args:
        works: of WORKS in packs/words.py.
        stack: the packs in force.
        refrigerant: what is worked with; cautions that do not concern it are left out.
        system: kind of machine; cautions for other kinds are left out. Unknown, it may be any.
        own: add what the refrigerant itself asks to take care of and the others do not say already.
    """
    wanted = set(works)
    names = [name for name, loaded in stack.cautions.items() if wanted & set(loaded.entry.beside)]
    found = cautions_concerning(names, stack, (refrigerant,), system)
    if not own or refrigerant is None:
        return found
    covered = {f"refrigerant.{key}" for each in found for key in stack.cautions[each.caution].entry.covers}
    return (*found, *(each for each in own_cautions(refrigerant.id) if each.caution not in covered))


def cautions_concerning(
    names: Sequence[str], stack: Stack, refrigerants: Iterable[Refrigerant | None], system: str | None
) -> tuple[Warned, ...]:
    """Return those of these cautions that concern the machine and any of the refrigerants; what is unknown may be any.

    Args:
        names: ids in the catalogue of cautions.
        stack: the packs in force.
        refrigerants: worked with; None for one that is unknown.
        system: kind of machine, or None.
    """
    systems = FIELDS["system"].choices if system is None else (system,)  # a reading takes a car for granted
    of = [{} if each is None else {"refrigerant": each.id} for each in refrigerants]
    readings = [Reading({"system": kind, **what}) for kind in systems for what in of]
    found = {each.caution: each for reading in readings for each in cautions_of(names, stack, reading)}
    return tuple(found[name] for name in names if name in found)
