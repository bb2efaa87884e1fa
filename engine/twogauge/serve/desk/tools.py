"""Which commands have a page, with which options in which order; none that names a file or a folder is among them."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final
from urllib.parse import urlencode

ROOT: Final = "/tools"
_PLACE: Final = ("altitude", "barometer")
_TOOLS: Final = ("gauge", "thermometer")


@dataclass(frozen=True, slots=True)
class Text:
    """A text that is pasted, typed or uploaded; no name of a file is ever used.

    Attributes:
        name, label, about: of its control.
        rows: that are shown of it.
        aside: whether there is an answer without it; it stands below the fields then, and never in an address.
    """

    name: str
    label: str
    about: str
    rows: int = 8
    aside: bool = False


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
        begin: what to do first, in a sentence.
        alone: whether there is an answer before anything is told, such as a list.
        texts: that belong to it; its form is sent as a body then, for an address could not hold them.
        picture: module:function that draws what was found; "" for none.
        row: (label, units) of each number in a row of its text, for those who would rather not type words.
    """

    name: str
    title: str
    about: str
    place: str
    first: tuple[str, ...]
    more: tuple[str, ...] = ()
    example: str = ""
    button: str = "Work it out"
    begin: str = "Nothing told yet"
    alone: bool = False
    texts: tuple[Text, ...] = ()
    picture: str = ""
    row: tuple[tuple[str, tuple[str, ...]], ...] = ()

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
    ("volume", "charge", "profile", *_TOOLS, *_PLACE, "verbose"),
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
    texts=(
        Text(
            "sheet",
            "Job sheet",
            "What is ticked there is ticked here, and the plan is of its machine. Paste it, or choose its file below.",
            aside=True,
        ),
    ),
)
TABLE: Final = Tool(
    "table",
    "Table",
    "Pressure against temperature, for the screen and for the wall.",
    "twogauge.cli.table:table",
    ("refrigerants", "by", "low", "high", "step"),
    (*_PLACE, "paper"),
    "refrigerants=R134a%0AR1234yf&low=-10+degF&high=120+degF",
    "Make the table",
)
_TIME: Final = ("Time", ("min", "s", "h"))
_LOG: Final = (
    "A row for each reading: a time and a pressure, and a temperature if there is one: 5 min, 430 micron, 72 F."
)
HOLD: Final = Tool(
    "hold",
    "Vacuum hold",
    "What a vacuum did behind the shut valve: tight, wet, leaking, or not to be told.",
    "twogauge.cli.hold:hold",
    ("coldest",),
    (
        *("volume", "refrigerant", "valved_off", "working_pressure", "system", "criterion", "resolution", "accuracy"),
        *(*_PLACE, "verbose"),
    ),
    "coldest=70+degF&log=0+min,+410+micron%0A5+min,+520+micron%0A10+min,+610+micron%0A15+min,+680+micron%0A"
    "20+min,+735+micron%0A30+min,+820+micron",
    "Judge it",
    "Type what the gauge shows, a row for each reading",
    texts=(Text("log", "Rows", _LOG, rows=4),),
    picture="twogauge.draw.hold:hold_picture",
    row=(_TIME, ("Pressure", ("micron", "inHg vac", "mbar", "Pa"))),
)
NITROGEN: Final = Tool(
    "nitrogen",
    "Nitrogen hold",
    "Whether a pressure fell by more than temperature and weather explain.",
    "twogauge.cli.hold:hold",
    ("test_pressure",),
    (
        "volume",
        "refrigerant",
        "working_pressure",
        "system",
        "criterion",
        "resolution",
        *_PLACE,
        "barometer_at_end",
        "verbose",
    ),
    "test_pressure=200+psi&resolution=1+psi&log=0+min,+150+psi,+70+degF%0A30+min,+149+psi,+70+degF%0A"
    "60+min,+147+psi,+70+degF",
    "Judge it",
    "Type what the gauge shows, a row for each reading",
    texts=(Text("log", "Rows", _LOG.replace("430 micron", "150 psi"), rows=4),),
    picture="twogauge.draw.hold:nitrogen_picture",
    row=(_TIME, ("Pressure", ("psi", "bar", "kPa")), ("Temperature", ("degF", "degC"))),
)
_READING: Final = "The address of a saved diagnosis, or a reading as lines of 'field: value'."
COMPARE: Final = Tool(
    "compare",
    "Before and after",
    "What a repair changed, and whether it worked.",
    "twogauge.cli.compare:compare",
    (),
    ("verbose",),
    button="Compare",
    begin="Paste the reading before the repair and the one after it",
    texts=(Text("before", "Before the repair", _READING), Text("after", "After it", _READING)),
    picture="twogauge.draw.comparison:comparison_picture",
)
_PACK: Final = files("twogauge.serve.desk").joinpath("example_rules.yaml").read_text("utf-8")
_TRIED: Final = (
    "refrigerant: R134a\nlow_side: 40 psi\nhigh_side: 280 psi\nambient: 85 F\nchecks:\n  brush_marks: yes\n"
)
RULES: Final = Tool(
    "rules",
    "Rules of your own",
    "What is wrong with rules you wrote, what their examples show, and what they change. Nothing of them is kept.",
    "twogauge.cli.rules.check:check",
    (),
    (),
    urlencode({"rules": _PACK, "reading": _TRIED}),
    "Check them",
    "Paste a file of rules, or choose it",
    texts=(
        Text("rules", "Rules", "One file of a pack, with 'pack: name' in it.", rows=16),
        Text("reading", "A reading to try them on", _READING, aside=True),
    ),
)
WITH_TEXTS: Final = (HOLD, NITROGEN, COMPARE, PLAN, RULES)
OF_COMMANDS: Final = (SATURATION, STANDING, CHARGE, OIL, FILL, IDENTIFY, REFRIGERANTS)
