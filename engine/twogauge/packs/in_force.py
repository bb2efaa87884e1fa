"""Every entry in force, by kind and id: what stacking packs results in, and what compiling starts from.

Plain data, and where the built-in packs live. Reading, merging and validating packs is stack.py's business; importing
this module costs nothing, so that a run with the built-in packs as they ship needs no validation library.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final, Generic, Literal, TypeVar

from twogauge.packs.problems import Place

if TYPE_CHECKING:
    from twogauge.packs import yamlfile
    from twogauge.packs.model import (
        BandEntry,
        Caution,
        Check,
        Criterion,
        Fault,
        Gate,
        Header,
        PlanEntry,
        Profile,
        Rule,
    )

BUILT_IN: Final = ("common", "automotive", "stationary")
CASES: Final = "cases"  # folder inside a pack: tests of its rules, no rules

EntryType = TypeVar("EntryType")


Layer = Literal["built-in", "installed", "named"]


@dataclass(frozen=True)
class Change:
    """One value of an entry that a later pack changed.

    Attributes:
        path: keys that lead to it.
        before: what stood there, or None where there was nothing.
        after: what stands there now; of a list that was extended, only what was added.
        pack, note: who changed it, and why.
        extends: the value was added to, not replaced.
    """

    path: tuple[str, ...]
    before: yamlfile.Node | None
    after: yamlfile.Node
    pack: str
    note: str
    extends: bool = False


@dataclass(frozen=True)
class Disabled:
    """An entry that a later pack took out.

    Attributes:
        kind: the section it stands in, such as `rules`.
        node, defined: the entry as it would be in force, and where its id stands.
        owner: the pack that defines it.
        pack, note, place: who took it out, why, and where that is written.
    """

    id: str
    kind: str
    node: yamlfile.Mapping
    defined: Place
    owner: str
    pack: str
    note: str
    place: Place


@dataclass(frozen=True)
class Found:
    """A pack that was found, whether it is in force or refused.

    Attributes:
        name: of the pack, or of the entry point or folder where it does not say.
        layer: built-in; installed beside twogauge; or named by the person (--rules, TWOGAUGE_RULES).
        folder: where its files are, or "" where that could not be found.
        distribution: name and version of what installed it, or "".
        edition, format: as it states them; 0 where it could not be read.
        counts: what it holds: section -> number of entries.
        refused: why it is not in force, one sentence each; empty if it is.
    """

    name: str
    layer: Layer
    folder: str
    distribution: str = ""
    title: str = ""
    edition: int = 0
    format: int = 0
    counts: Mapping[str, int] = field(default_factory=dict)
    refused: tuple[str, ...] = ()


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
        changes: what they changed, in order.
        defined: where its id stands; None as for `node`.
    """

    id: str
    entry: EntryType
    node: yamlfile.Mapping | None
    pack: str
    notes: tuple[tuple[str, str], ...] = ()
    changes: tuple[Change, ...] = ()
    defined: Place | None = None

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
        notices: sentences about adjustments that should be looked at again, and about packs that are not used.
        taken_out: the disabled entries themselves.
        found: every pack that was looked at, also those refused; empty where the built-in packs were taken as they
            ship.
    """

    packs: tuple[Header, ...]
    cautions: Mapping[str, Loaded[Caution]]
    faults: Mapping[str, Loaded[Fault]]
    checks: Mapping[str, Loaded[Check]]
    bands: Mapping[str, Loaded[BandEntry]]
    gates: Mapping[str, Loaded[Gate]]
    rules: Mapping[str, Loaded[Rule]]
    profiles: Mapping[str, Loaded[Profile]] = field(default_factory=dict)
    criteria: Mapping[str, Loaded[Criterion]] = field(default_factory=dict)
    plans: Mapping[str, Loaded[PlanEntry]] = field(default_factory=dict)
    disabled: Mapping[str, str] = field(default_factory=dict)
    disabled_topics: frozenset[str] = frozenset()
    notices: tuple[str, ...] = ()
    taken_out: Mapping[str, Disabled] = field(default_factory=dict)
    found: tuple[Found, ...] = ()


def rules_folder() -> Path:
    """Return the folder of the built-in packs: inside the installed package, or at the top of a checkout."""
    here = Path(__file__).resolve().parents[1]
    inside = here / "rules"
    return inside if inside.is_dir() else here.parents[1] / "rules"
