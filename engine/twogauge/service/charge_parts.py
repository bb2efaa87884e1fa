"""What is asked about a charge, and what is answered: the parts that service/charge.py and service/push.py work with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from twogauge.quantities import STANDARD_ATMOSPHERE
from twogauge.refrigerants import Refrigerant
from twogauge.service.draw import Drawn
from twogauge.service.facts import Number, Source
from twogauge.service.law import Law
from twogauge.service.retrofit import Retrofit

Port = Literal["accumulator", "suction_line", "compressor"]
PORTS: Final[tuple[Port, ...]] = ("accumulator", "suction_line", "compressor")
Drive = Literal["belt", "electric"]
DRIVES: Final[tuple[Drive, ...]] = ("belt", "electric")


@dataclass(frozen=True)
class Job:
    """What is to be charged, and what is known about it; NaN where nothing was said.

    Attributes:
        refrigerant: what goes in.
        label: charge on the label [kg].
        old: what the label names, if it is to be changed.
        inside: what is still in the system, if anything.
        already: of what goes in, weighed in before [kg].
        system: kind of machine, as in a reading.
        metering, liquid_store: as in a reading, or None.
        port: where the low-side port sits, or None.
        drive: what turns the compressor.
        ambient: air around it [K].
        container: temperature of the cylinder [K].
        holds: refrigerant in the cylinder [kg].
        tare: weight of the empty cylinder [kg].
        low, high: what both sides hold now [Pa] absolute.
        hoses: volume of the hoses and the manifold that fill [m3].
        barometer: pressure of the air [Pa].
        profile: title of the machine's profile, or "".
        options: how other commands are told of that profile, or "".
    """

    refrigerant: Refrigerant
    label: float = math.nan
    old: Refrigerant | None = None
    inside: Refrigerant | None = None
    already: float = math.nan
    system: str = "car_ac"
    metering: str | None = None
    liquid_store: str | None = None
    port: Port | None = None
    drive: Drive = "belt"
    ambient: float = math.nan
    container: float = math.nan
    holds: float = math.nan
    tare: float = math.nan
    low: float = math.nan
    high: float = math.nan
    hoses: float = math.nan
    barometer: float = STANDARD_ATMOSPHERE
    profile: str = ""
    options: str = ""


@dataclass(frozen=True, slots=True)
class Amount:
    """What goes in, and what the scale must show for it.

    Attributes:
        start: to begin with [kg], what is in it already taken off.
        stop: not to be exceeded [kg], likewise.
        most: all that the system may hold in the end [kg].
        in_hoses_gas: what stays in the hoses as gas [kg].
        in_hoses_liquid: what stays in them if they are left full of liquid [kg].
        hoses: their volume [m3].
    """

    start: float
    stop: float
    most: float
    in_hoses_gas: float
    in_hoses_liquid: float
    hoses: float


@dataclass(frozen=True, slots=True)
class Push:
    """Whether the cylinder can push.

    Attributes:
        container: its temperature [K].
        pressure: in it [Pa] absolute.
        limit: temperature it may be warmed to [K].
        pressure_at_limit: in it then [Pa] absolute; NaN above the curve.
        hottest: temperature it must never exceed [K].
        low, high: what it pushes against [Pa] absolute; of `low` what a running system usually has, if not told.
        low_told: whether `low` was told.
        liquid_to_gas: density of the liquid over that of the gas on the suction side [1].
    """

    container: float
    pressure: float
    limit: Number
    pressure_at_limit: float
    hottest: Number
    low: float
    high: float
    low_told: bool
    liquid_to_gas: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """How far the cylinder cools if nothing warms it.

    Attributes:
        phase: what is drawn.
        by_a_tenth: fall of its temperature for each first tenth drawn of what it holds [K].
        share_until_low: share of what it holds that comes before it is down to the low side [1].
        drawn: what is wanted of it [kg]; NaN if its content or the amount was not told.
        after: its temperature then [K]; NaN if it holds less or cools too far.
        pressure_after: in it then [Pa] absolute.
        enough: whether it holds what is wanted.
    """

    phase: Drawn
    by_a_tenth: float
    share_until_low: float
    drawn: float
    after: float
    pressure_after: float
    enough: bool


@dataclass(frozen=True, slots=True)
class Step:
    """One step, with the works whose cautions stand beside it; `brief` is it in a few words, or ""."""

    text: str
    source: Source
    works: tuple[str, ...] = ()
    brief: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """All that a charge needs.

    Attributes:
        job: what was asked.
        amount: None if no label was told.
        change: of refrigerant, or None.
        phase: how the refrigerant leaves the cylinder.
        push, cooling: of the cylinder.
        day: cold, warm, between (a maker that judges from 21 degC would not) or unknown.
        judge_from: ambient temperature from which performance says something [K].
        put_in, finish: steps.
        odd_label: such a machine hardly has such a charge.
        law: what it says in some places, and who decides elsewhere.
    """

    job: Job
    amount: Amount | None
    change: Retrofit | None
    phase: Drawn
    push: Push
    cooling: Cooling
    day: Literal["cold", "between", "warm", "unknown"]
    judge_from: tuple[Number, ...]
    put_in: tuple[Step, ...]
    finish: tuple[Step, ...]
    odd_label: bool
    law: tuple[Law, ...]
