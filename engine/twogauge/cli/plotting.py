"""`--plot`: which picture goes into which file; what to do where the plotting library is not installed.

Imported only where a picture is wanted, and imports the plotting library only once everything else is known to be right.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from twogauge.errors import InputError, did_you_mean, shown
from twogauge.files import write_atomically

if TYPE_CHECKING:
    from twogauge.draw.picture import Form, Picture

FORMS: Final = ("svg", "png", "pdf")
NOT_INSTALLED: Final = (
    "pictures need the extra 'plots', which is not installed here; install it with: pip install 'twogauge[plots]', or in "
    "a clone: pip install -c .ci/constraints.txt -e '.[plots]'"
)

# kind -> module:function that draws it; the first is drawn where no kind is named
OF_A_DIAGNOSIS: Final[Mapping[str, str]] = {
    "saturation": "twogauge.draw.saturation:saturation_picture",
    "cycle": "twogauge.draw.cycle:cycle_picture",
    "evidence": "twogauge.draw.evidence:evidence_picture",
}
OF_A_HOLD: Final[Mapping[str, str]] = {"hold": "twogauge.draw.hold:hold_picture"}
OF_NITROGEN: Final[Mapping[str, str]] = {"hold": "twogauge.draw.hold:nitrogen_picture"}
OF_A_COMPARISON: Final[Mapping[str, str]] = {"comparison": "twogauge.draw.comparison:comparison_picture"}


@dataclass(frozen=True, slots=True)
class Wanted:
    """A picture that was asked for.

    Attributes:
        maker: module:function that draws it.
        path: of the file.
        form: svg, png or pdf.
    """

    maker: str
    path: Path
    form: Form


def wanted(items: Sequence[str], kinds: Mapping[str, str]) -> tuple[Wanted, ...]:
    """Read what was written behind --plot.

    Args:
        items: `FILE`, or `KIND=FILE`.
        kinds: kind to who draws it; the first counts where none is named.

    Raises:
        InputError: a kind or suffix that is not known, one file twice, or the plotting library is not installed.
    """
    found = tuple(_one(item, kinds) for item in items)
    paths = [each.path for each in found]
    for path in paths:
        if paths.count(path) > 1:
            raise InputError(f"--plot {path}: two pictures cannot go into one file; name another for one of them")
    need_library()
    return found


def need_library() -> None:
    """Raise `InputError` with how to install it where the plotting library is missing."""
    if find_spec("matplotlib") is None:
        raise InputError(NOT_INSTALLED)


def draw(pictures: Sequence[Wanted], *what: Any, **more: Any) -> None:
    """Draw pictures of something and write each whole or not at all.

    Args:
        pictures: as `wanted` gave them.
        what, more: handed to who draws.

    Raises:
        InputError: what is missing for a picture, or a file that cannot be written.
    """
    for each in pictures:
        module, _, name = each.maker.partition(":")
        make = cast("Callable[..., Picture]", getattr(importlib.import_module(module), name))
        try:
            data = make(*what, **more).as_bytes(each.form)
        except InputError as error:
            raise InputError(f"{each.path} was not drawn: {error}") from None
        write_atomically(each.path, data)


def _one(item: str, kinds: Mapping[str, str]) -> Wanted:
    kind, equals, file = item.partition("=")
    if not equals:
        kind, file = next(iter(kinds)), item
    elif kind.strip() not in kinds:
        if Path(item).suffix[1:].casefold() in FORMS and not kind.strip().isalpha():
            kind, file = next(iter(kinds)), item  # an equals sign in the name of a file
        else:
            near = did_you_mean(kind.strip(), kinds, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(kinds)}"
            raise InputError(f"--plot {shown(item)}: {shown(kind.strip())} is no kind of picture; {hint}")
    form = Path(file).suffix[1:].casefold()
    if form not in FORMS:
        raise InputError(f"--plot {shown(item)}: name a file that ends in .svg, .png or .pdf, such as bus_17.svg")
    return Wanted(kinds[kind.strip()], Path(file), cast("Form", form))
