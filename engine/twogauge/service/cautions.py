"""The cautions that stand beside a work: those of the packs in force that name it, and those of the refrigerant."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from twogauge.diagnosis import Warned, cautions_of, own_cautions
from twogauge.reading import Reading

if TYPE_CHECKING:
    from twogauge.packs.in_force import Stack
    from twogauge.refrigerants import Refrigerant


def cautions_beside(
    works: Iterable[str], stack: Stack, refrigerant: Refrigerant | None = None, *, own: bool = False
) -> tuple[Warned, ...]:
    """Return the cautions of these works, in the order of the packs, each once.

    Args:
        works: of WORKS in packs/words.py.
        stack: the packs in force.
        refrigerant: what is worked with; cautions that do not concern it are left out.
        own: add what the refrigerant itself asks to take care of and the others do not say already.
    """
    wanted = set(works)
    names = [name for name, loaded in stack.cautions.items() if wanted & set(loaded.entry.beside)]
    told = {} if refrigerant is None else {"refrigerant": refrigerant.id}
    found = cautions_of(names, stack, Reading(told))
    if not own or refrigerant is None:
        return found
    covered = {f"refrigerant.{key}" for each in found for key in stack.cautions[each.caution].entry.covers}
    return (*found, *(each for each in own_cautions(refrigerant.id) if each.caution not in covered))
