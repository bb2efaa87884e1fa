"""What a command of the service is told of a machine by the name of its profile."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any

from twogauge.errors import InputError

if TYPE_CHECKING:
    from twogauge.packs.program import Program
    from twogauge.refrigerants import Refrigerant


@dataclass(frozen=True, slots=True)
class Machine:
    """What a profile tells of a machine; nothing where none was named.

    Attributes:
        title: of the profile, or "".
        words: field of a reading -> word, and `drive` and `low_port`.
        charge: text of the label, or None.
        options: how other commands are told of it.
    """

    title: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    charge: str | None = None
    options: str = ""

    @classmethod
    def of(cls, name: str | None, program: Program, rules: Sequence[str]) -> Machine:
        """Look a profile up."""
        if name is None:
            return cls()
        from twogauge.profiles import find_profile
        from twogauge.reading import Reading

        found = find_profile(name, program)
        words = dict(Reading(dict(found.is_)).parts.words)
        words.update({key: word for key in ("drive", "low_port") if (word := getattr(found, key)) is not None})
        folders = [part for folder in rules for part in ("--rules", folder)]
        return cls(found.title, words, found.charge, shlex.join(["--profile", name, *folders]))

    def word(self, name: str, told: Enum | None) -> Any:
        """Return what was told, else what the profile says, else None."""
        return self.words.get(name) if told is None else told.value

    def refuse_another(self, refrigerant: Refrigerant, hint: str) -> None:
        """Refuse a refrigerant that is not the one of the profile.

        Args:
            refrigerant: that was told.
            hint: what to do about it; {id} stands for the profile's.

        Raises:
            InputError: it is another.
        """
        from twogauge.refrigerants import get

        if "refrigerant" not in self.words:
            return
        built_for = get(self.words["refrigerant"])
        if built_for.id != refrigerant.id:
            raise InputError(
                f"{self.title} holds {built_for.title} by its profile, not {refrigerant.title}; "
                f"{hint.replace('{id}', built_for.id)}"
            )
