"""What the findings look at: compiled packs, and which of their entries the author can change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from twogauge.packs.compile import CompiledRule, Program
from twogauge.packs.in_force import Loaded
from twogauge.packs.problems import Place


@dataclass(frozen=True)
class Subject:
    """Packs under examination.

    Attributes:
        program: the whole stack, as far as it could be compiled.
        unsound: rules and gates of which a part is missing there; nothing is concluded from what they say.
        packs: the packs that are checked; what others say is only looked at.
        mentioned: names inside what could not be read; they may be used there.
    """

    program: Program
    unsound: frozenset[str]
    packs: frozenset[str]
    mentioned: frozenset[str]

    def is_checked(self, loaded: Loaded[Any]) -> bool:
        """Whether one of the packs that are checked wrote or adjusted this entry."""
        return loaded.pack in self.packs or any(pack in self.packs for pack, _ in loaded.notes)

    def rules(self) -> Iterator[tuple[CompiledRule, Loaded[Any]]]:
        """Yield the sound rules of the packs that are checked."""
        for rule in self.program.rules:
            loaded = self.program.stack.rules[rule.id]
            if rule.id not in self.unsound and self.is_checked(loaded):
                yield rule, loaded

    def rules_and_gates(self) -> Iterator[tuple[CompiledRule, Loaded[Any]]]:
        """Yield the sound rules and gates of the packs that are checked."""
        yield from self.rules()
        for gate in self.program.gates:
            loaded = self.program.stack.gates[gate.rule.id]
            if gate.rule.id not in self.unsound and self.is_checked(loaded):
                yield gate.rule, loaded


def place_of_id(loaded: Loaded[Any]) -> Place:
    """Return where the id of an entry stands."""
    return loaded.defined or loaded.place()
