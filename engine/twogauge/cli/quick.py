"""Takes text options as they are typed: typer would import most of pydantic to see that a text is a text.

Newer typer builds a validator for every parameter, also for those nobody gave, which costs this command a
third of its start-up. Texts, words of an enumeration and what was left out need none; everything else goes typer's way,
and so does all of it in a typer that has no such validators.
"""

from __future__ import annotations

from enum import Enum
from typing import Any, Final

_SLOT: Final = "_runtime_param"  # where typer keeps the validator it builds on first use
_TEXTS: Final = (str, str | None, list[str], list[str] | None)


def quicken(parameters: list[Any]) -> list[Any]:
    """Give each parameter the short way, and return them.

    Args:
        parameters: of a command, as typer built them.
    """
    for parameter in parameters:
        if getattr(parameter, _SLOT, _SLOT) is None:
            setattr(parameter, _SLOT, _Short())
    return parameters


class _Short:
    """Stands in for a validator until there is something to validate."""

    def coerce(self, value: Any, param: Any, ctx: Any) -> Any:
        """Return the value as the command wants it; the long way where this is not known to be right."""
        annotation = param.type_descriptor.annotation
        many = param.multiple or param.nargs == -1
        if value is None:
            return () if many else None
        if annotation in _TEXTS and isinstance(value, list | tuple if many else str):
            return list(value) if many else value
        if isinstance(annotation, type) and issubclass(annotation, Enum):
            for member in annotation:
                if value is member or value == member.value:
                    return member
        setattr(param, _SLOT, None)
        return param.get_runtime_param().coerce(value, param=param, ctx=ctx)
