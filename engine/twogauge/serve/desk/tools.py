"""Which commands have a page, with which options in which order; none that names a file or a folder is among them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

ROOT: Final = "/tools"
_PLACE: Final = ("altitude", "barometer")
_TOOLS: Final = ("gauge", "thermometer")


@dataclass(frozen=True, slots=True)
class Tool:
    """A page made of a command.

    Attributes:
        name: of the page, below ROOT.
        title: as it stands in the list and above the page.
        about: one line for the list.
        place: module:function of the command.
        first: its parameters that most answers need, in order.
        more: the others, shown on demand.
        example: the query of an address with an answer.
        button: what is pressed.
        alone: whether there is an answer before anything is told, such as a list.
    """

    name: str
    title: str
    about: str
    place: str
    first: tuple[str, ...]
    more: tuple[str, ...] = ()
    example: str = ""
    button: str = "Work it out"
    alone: bool = False

    @property
    def path(self) -> str:
        """Where the page is."""
        return f"{ROOT}/{self.name}"

    @property
    def shown(self) -> tuple[str, ...]:
        """Every parameter that has a control."""
        return (*self.first, *self.more)

    def command(self) -> Callable[..., Any]:
        """Return the command."""
        module, _, name = self.place.partition(":")
        found: Callable[..., Any] = getattr(importlib.import_module(module), name)
        return found


SATURATION: Final = Tool(
    "saturation",
    "Saturation",
    "One pressure to its saturation temperature, or back.",
    "twogauge.cli.saturation:saturation",
    ("refrigerant", "value"),
    _PLACE,
    "refrigerant=R134a&value=35+psi",
)
EXPECT: Final = Tool(
    "expect",
    "What is normal today",
    "What the gauges and vents should show, before anything is connected.",
    "twogauge.cli.expect:expect",
    ("refrigerant", "ambient", "humidity", "system"),
    ("metering", "compressor_control", "liquid_store", "profile", "return_air", "engine_speed", *_PLACE),
    "refrigerant=R134a&ambient=95+degF&humidity=60+%25",
)
REFRIGERANTS: Final = Tool(
    "refrigerants",
    "Refrigerants",
    "All that are known, or everything about one.",
    "twogauge.cli.refrigerants:refrigerants",
    ("name",),
    (),
    "name=R1234yf",
    "Show",
    alone=True,
)
CHARGE: Final = Tool(
    "charge",
    "Charge",
    "How much goes in, by the scale, and how; retrofits too.",
    "twogauge.cli.charge:charge",
    ("refrigerant", "label", "retrofit_from", "ambient", "system"),
    (
        *("inside", "already", "cylinder_temperature", "cylinder_holds", "tare", "low", "high", "profile"),
        *("metering", "liquid_store", "low_port", "drive", "hose_volume", *_PLACE, "brief", "verbose"),
    ),
    "refrigerant=R134a&label=2.5+lb&retrofit_from=R12&ambient=80+degF",
)
FILL: Final = Tool(
    "fill",
    "Fill a cylinder",
    "How much a recovery cylinder may hold.",
    "twogauge.cli.cylinder:fill",
    ("refrigerant", "water_capacity", "tare", "on_scale"),
    (*_PLACE, "verbose"),
    "refrigerant=R134a&water_capacity=47.7+lb&tare=27.5+lb",
)
IDENTIFY: Final = Tool(
    "identify",
    "What is in a cylinder",
    "Which refrigerants fit the pressure of a cylinder at rest.",
    "twogauge.cli.cylinder:identify",
    ("label", "pressure", "temperature"),
    (*_TOOLS, *_PLACE, "verbose"),
    "label=R134a&pressure=95+psi&temperature=80+degF",
)
OIL: Final = Tool(
    "oil",
    "Oil",
    "Which oil, how much with a replaced part, and which seals.",
    "twogauge.cli.oil:oil",
    ("refrigerant", "part", "drained", "system"),
    ("drive", "retrofit_from", "verbose"),
    "refrigerant=R134a&part=condenser%0Acompressor&drained=compressor%3D2oz",
)
STANDING: Final = Tool(
    "standing",
    "Standing pressure",
    "What both gauges mean with the machine at rest.",
    "twogauge.cli.standing:standing",
    ("refrigerant", "pressure", "coldest", "other_gauge"),
    ("volume", "charge", *_TOOLS, *_PLACE, "verbose"),
    "refrigerant=R134a&pressure=85+psi&coldest=75+degF",
)
PLAN: Final = Tool(
    "plan",
    "Plan",
    "A whole job as steps, with the figures of this machine.",
    "twogauge.cli.plan:plan",
    ("name", "refrigerant", "retrofit_from", "label", "ambient"),
    ("humidity", "system", "metering", "liquid_store", *_PLACE, "verbose"),
    "name=retrofit&refrigerant=R134a&retrofit_from=R12&label=2.5+lb&ambient=85+degF",
    "Show the plan",
    alone=True,
)
OF_COMMANDS: Final = (SATURATION, EXPECT, STANDING, CHARGE, OIL, FILL, IDENTIFY, PLAN, REFRIGERANTS)
