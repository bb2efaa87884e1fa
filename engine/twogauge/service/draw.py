"""How far a container cools while refrigerant is drawn from it, and how much comes before it stops pushing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from twogauge.refrigerants import Refrigerant
from twogauge.refrigerants.properties import Properties, properties_of

Floats = NDArray[np.float64]
Drawn = Literal["vapour", "liquid"]

STEPS: Final = 100
MOST: Final = 0.98  # of what is held: the last film of liquid is no longer in equilibrium with all of the shell


@dataclass(frozen=True, eq=False)
class Draw:
    """The way of a container that gets no heat from outside.

    Attributes:
        drawn: what has left it [kg], rising from 0, shape (n,).
        temperature: of what is left [K], shape (n,); NaN where the refrigerant's properties end.
        pressure: of the vapour in it [Pa] absolute, shape (n,).
    """

    drawn: Floats
    temperature: Floats
    pressure: Floats

    def after(self, mass: float) -> tuple[float, float]:
        """Return temperature [K] and pressure [Pa] once something has left; NaN beyond the way.

        Args:
            mass: that has left [kg].
        """
        if mass > self.drawn[-1]:
            return math.nan, math.nan
        return (
            float(np.interp(mass, self.drawn, self.temperature)),
            float(np.interp(mass, self.drawn, self.pressure)),
        )

    def until(self, pressure: float) -> float:
        """Return how much leaves [kg] before the container is down to a pressure.

        Args:
            pressure: [Pa] absolute.

        Returns:
            [kg], 0 if it begins below, and all of the way if it stays above.
        """
        still = np.isfinite(self.pressure) & (self.pressure > pressure)
        if not still[0]:
            return 0.0
        if still.all():
            return float(self.drawn[-1])
        last = int(np.argmin(still))
        if not np.isfinite(self.pressure[last]):
            return float(self.drawn[last - 1])
        down = (self.pressure[last - 1] - pressure) / (self.pressure[last - 1] - self.pressure[last])
        return float(self.drawn[last - 1] + down * (self.drawn[last] - self.drawn[last - 1]))


def draw(refrigerant: Refrigerant, held: float, start: float, *, phase: Drawn = "vapour", shell: float = 0.0) -> Draw:
    """Follow a container from which refrigerant is drawn faster than the air can warm it.

    With m held, dm drawn as vapour and c, L, rho of the saturated liquid and vapour:
    `(m c + C) dT = -L dm rho_l / (rho_l - rho_v)`; the last factor is the vapour that fills the place of the liquid.
    Drawn as liquid only that vapour is made: `rho_v` stands for `rho_l` above the line.

    Args:
        refrigerant: what is in it; a blend is taken at its whole composition.
        held: liquid in it at the start, m [kg].
        start: temperature at the start [K].
        phase: what is drawn.
        shell: heat capacity of what cools with it, C [J/K].
    """
    properties = properties_of(refrigerant)
    drawn = np.linspace(0.0, MOST * held, STEPS + 1)
    step = drawn[1]
    temperature = np.full(STEPS + 1, np.nan)
    temperature[0] = start
    for i in range(STEPS):
        left = held - drawn[i]
        half = temperature[i] - 0.5 * step * _fall(properties, temperature[i], left, phase, shell)
        temperature[i + 1] = temperature[i] - step * _fall(properties, half, left - 0.5 * step, phase, shell)
        if not np.isfinite(temperature[i + 1]):
            break
    return Draw(drawn, temperature, refrigerant.saturation_pressure(temperature, "bubble"))


def _fall(properties: Properties, temperature: float, left: float, phase: Drawn, shell: float) -> float:
    liquid = float(properties.liquid_density(temperature))
    vapour = float(properties.vapour_density(temperature))
    made = (liquid if phase == "vapour" else vapour) / (liquid - vapour)
    heat = float(properties.latent_heat(temperature)) * made
    return heat / (left * float(properties.liquid_heat_capacity(temperature)) + shell)
