"""Every entry in force, by kind and id: what stacking packs results in, and what compiling starts from.

Plain data, and where the built-in packs live. Reading, merging and validating packs is stack.py's business; importing
this module costs nothing, so that a run with the built-in packs as they ship needs no validation library.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final, Generic, TypeVar

from twogauge.packs.problems import Place

if TYPE_CHECKING:
    from twogauge.packs import yamlfile
    from twogauge.packs.model import BandEntry, Caution, Check, Fault, Gate, Header, Profile, Rule

BUILT_IN: Final = ("common", "automotive", "stationary")

EntryType = TypeVar("EntryType")


@dataclass(frozen=True)
class Loaded(Generic[EntryType]):
    """An entry in force.

    Attributes:
        id: its name.
        entry: the validated content.
        node: the tree it came from, adjustments merged in; every leaf knows its own file and line. None where the
            built-in packs were taken as they ship (snapshot.py).
        pack: the pack that defined it.
        notes: (pack, note) of each pack that adjusted it, in order.
    """

    id: str
    entry: EntryType
    node: yamlfile.Mapping | None
    pack: str
    notes: tuple[tuple[str, str], ...] = ()

    def place(self, *path: str | int, key: bool = False) -> Place:
        """Return the place of a leaf, or of the deepest part of its path that is written."""
        if self.node is None:
            return Place(f"{self.pack}: {self.id}")
        from twogauge.packs import yamlfile  # noqa: PLC0415 - see the top

        return yamlfile.locate(self.node, path, key=key)


@dataclass(frozen=True)
class Stack:
    """Everything in force, by kind and id.

    Attributes:
        packs: the header of each pack, in the order of the stack.
        disabled: id -> "pack: why".
        disabled_topics: topics of the rules that were disabled; a gate may still name them.
        notices: sentences about adjustments that should be looked at again.
    """

    packs: tuple[Header, ...]
    cautions: Mapping[str, Loaded[Caution]]
    faults: Mapping[str, Loaded[Fault]]
    checks: Mapping[str, Loaded[Check]]
    bands: Mapping[str, Loaded[BandEntry]]
    gates: Mapping[str, Loaded[Gate]]
    rules: Mapping[str, Loaded[Rule]]
    profiles: Mapping[str, Loaded[Profile]] = field(default_factory=dict)
    disabled: Mapping[str, str] = field(default_factory=dict)
    disabled_topics: frozenset[str] = frozenset()
    notices: tuple[str, ...] = ()


def rules_folder() -> Path:
    """Return the folder of the built-in packs: inside the installed package, or at the top of a checkout."""
    here = Path(__file__).resolve().parents[1]
    inside = here / "rules"
    return inside if inside.is_dir() else here.parents[1] / "rules"
