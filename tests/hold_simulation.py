"""Hold logs from differential equations, independent of the curves that are fitted: scipy solves, nothing is shared.

The circuit is one volume at the temperature of the air around it. What goes on in it:

  - water lies somewhere as a film or a drop. It evaporates in proportion to the difference between its vapour pressure
    and the pressure of the vapour (Hertz-Knudsen, with a conductance for the way out), which cools it; heat flows
    in from the metal. Its enthalpy is followed through freezing and melting. The pump runs first, so that what is left
    when the valve is shut is as cold, and as frozen, as the pump made it. Vapour pressures from the equations of the
    ASHRAE Handbook (psychrolib's), which are not those of the engine.
  - air leaks in through an orifice, choked until the pressure reaches 0.528 of the air's.
  - refrigerant leaves the oil, in proportion to the difference between its pressure over the oil (Henry's law with what
    is left in it) and its pressure.
  - gas in the gauge and the hoses levels out with the circuit.
  - gas that is solved in rubber (hoses, seals) or in a deep pool of oil diffuses out: a sheet of finite differences, one
    face sealed, the other in balance with the gas; it was full when the pump began (TAILS: diffusion). Or two pools of
    oil, the deeper one behind the other, feed the gas (two_pools); or a small one empties in a minute or two (quick).

The causes are drawn so that they can be told apart in principle: half an hour to an hour is read every 30 or 60 s, a leak
lets the pressure rise by 10 to 3000 microns a minute, vapour out of the oil levels off away from where water would, and
of two causes together each makes at least a quarter of the rise.

The gauge has a scale error of its own (standard deviation 4 %), reads with a noise of 1.5 % and 2 microns, and shows
whole microns; a thermometer is off by 1 K (standard deviation).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import expm

MICRON = 0.133322387415
R = 8.314462618
WATER = 0.018015
AIR = 101_325.0
LATENT, FUSION = 2.5e6, 334e3
C_ICE, C_WATER = 2100.0, 4186.0

CAUSES = ("tight", "settling", "leak", "wet", "outgassing", "wet_and_leak", "outgassing_and_leak")
# Further logs, of what gives off slowly, and what they may be called beside "cannot say"; without a leak, none leaks.
TAILS = {
    "diffusion": ("outgassing",),
    "two_pools": ("outgassing",),
    "quick": ("outgassing", "settling"),
    "diffusion_and_leak": ("outgassing_and_leak",),
}
NOISE, FLOOR = 0.015, 2.0 * MICRON


@dataclass(frozen=True)
class Log:
    cause: str
    t: np.ndarray  # [s]
    p: np.ndarray  # [Pa] as read
    coldest: float  # [K] as read
    volume: float  # [m3]
    about: str


def ashrae(t):
    """Vapour pressure of water or ice [Pa], ASHRAE Handbook Fundamentals (Hyland and Wexler)."""
    if t < 273.16:
        ln = (
            -5.6745359e3 / t + 6.3925247 - 9.677843e-3 * t + 6.2215701e-7 * t**2 + 2.0747825e-9 * t**3
            - 9.484024e-13 * t**4 + 4.1635019 * math.log(t)
        )  # fmt: skip
    else:
        ln = (
            -5.8002206e3 / t + 1.3914993 - 4.8640239e-2 * t + 4.1764768e-5 * t**2 - 1.4452093e-8 * t**3
            + 6.5459673 * math.log(t)
        )  # fmt: skip
    return math.exp(ln)


def temperature_of(h):
    """Temperature [K] of water with the enthalpy h [J/kg] above ice at 0 degC."""
    if h < 0.0:  # no colder than 150 K: a solver tries steps that it does not take
        return max(273.15 + h / C_ICE, 150.0)
    return 273.15 if h < FUSION else 273.15 + (h - FUSION) / C_WATER


def choked(ratio):
    """Flow through an orifice against the choked flow."""
    if ratio <= 0.528:
        return 1.0
    if ratio >= 1.0:
        return 0.0
    k = 1.4
    return math.sqrt((ratio ** (2 / k) - ratio ** ((k + 1) / k)) / (0.528 ** (2 / k) - 0.528 ** ((k + 1) / k)))


def water_log(random, volume, air, times, rate):
    """Pressure of water vapour and air [Pa] after the pump is shut off, or None where no water is left."""
    mass = 10 ** random.uniform(-0.1, 1.3) * 1e-3  # [kg] 0.8 to 20 g
    heat = 10 ** random.uniform(-1.2, 0.6) * (mass / 5e-3) ** 0.6  # [W/K]
    escape = 10 ** random.uniform(-10.4, -6.5)  # [kg/(s Pa)] the way out of the water
    speed = 10 ** random.uniform(-3.3, -2.7)  # [m3/s] of the pump at the circuit
    vapour_per_kg = R * air / (WATER * volume)

    def change(pumping):
        def f(_, y):
            p, m, h, leaked = y
            t = temperature_of(h)
            out = escape * (ashrae(t) - p)
            gain = (heat * (air - t) - out * LATENT) / max(m, 1e-6)
            leak = rate * choked((p + leaked) / AIR)
            pump = speed / volume if pumping else 0.0
            return [out * vapour_per_kg - pump * p, -out, gain, leak - pump * leaked]

        return f

    def gone(_, y):
        return y[1] - least

    gone.terminal = True
    least = max(4.0 * ashrae(air) / vapour_per_kg, 0.05 * mass)  # less than this could not show
    begin = [ashrae(air) * 0.5, mass, FUSION + C_WATER * (air - 273.15), 500.0]
    until = random.uniform(600.0, 2400.0)
    pumped = solve_ivp(change(True), (0.0, until), begin, method="LSODA", events=gone, rtol=1e-6, atol=1e-6)
    state = pumped.y[:, -1]
    if pumped.status == 1 or state[0] + state[3] > 0.5 * ashrae(air):
        return None
    held = solve_ivp(
        change(False), (0.0, times[-1]), state, t_eval=times, method="LSODA", rtol=1e-7, atol=1e-7, max_step=20.0
    )
    return held.y[0] + held.y[3]


def leak_log(start, times, rate):
    """Pressure [Pa] that a leak lets in."""
    solved = solve_ivp(
        lambda _, y: [rate * choked(y[0] / AIR)], (0.0, times[-1]), [start], t_eval=times, rtol=1e-8, atol=1e-8
    )
    return solved.y[0]


def oil_log(random, start, times, air, share):
    """Pressure [Pa] of refrigerant that leaves the oil, with a leak that adds `share` times its plateau."""
    while True:
        plateau = 10 ** random.uniform(2.3, 4.3)
        if (
            abs(math.log(plateau / ashrae(air))) > 0.7
            and abs(math.log(plateau / 611.0)) > 0.35
            and plateau > 2.0 * start
        ):
            break
    tau = random.uniform(200.0, 900.0)
    rate = share * plateau / times[-1]
    held_back = random.uniform(2.0, 20.0)  # what the oil holds against what the volume takes

    def f(_, y):
        p, in_oil, leaked = y
        over_oil = plateau * (1.0 + 1.0 / held_back) * in_oil
        flow = (over_oil - p) / tau
        return [flow, -flow / (held_back * plateau * (1.0 + 1.0 / held_back)), rate * choked((p + leaked) / AIR)]

    solved = solve_ivp(f, (0.0, times[-1]), [start, 1.0, 0.0], t_eval=times, rtol=1e-8, atol=1e-8)
    return solved.y[0] + solved.y[2]


def sheet_log(random, start, times, share):
    """Pressure [Pa] of gas that diffuses out of a sheet after the pump is shut off, and of a leak of so many rises.

    In units of the sheet's thickness and of the pressure with which the sheet was in balance at first: u is what stands
    in its cells, the last value of the state is the pressure of the gas, which the pump holds near zero before.
    """
    lasts = 10 ** random.uniform(2.8, 4.8)  # [s] thickness squared over the coefficient of diffusion
    holds = 10 ** random.uniform(-0.5, 1.0)  # what the sheet holds against what the volume takes
    pumped = random.uniform(600.0, 2400.0)
    edges = np.linspace(0.0, 1.0, 41) ** 2  # finer near the open face
    width, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    gaps = np.diff(np.concatenate([[0.0], middle]))
    n = width.size
    change = np.zeros((n + 1, n + 1))  # of u and of the gas, for each second
    for i in range(n):
        before = n if i == 0 else i - 1
        flow = 1.0 / gaps[i] / lasts
        change[i, before] += flow / width[i]
        change[i, i] -= flow / width[i]
        weight = holds if i == 0 else 1.0 / width[before]
        change[before, i] += flow * weight
        change[before, before] -= flow * weight
    evacuating = change.copy()
    evacuating[n] = 0.0
    state = expm(evacuating * pumped) @ np.concatenate([np.ones(n), [0.0]])
    onward = expm(change * (times[1] - times[0]))
    risen = []
    for _ in times:
        risen.append(state[n])
        state = onward @ state
    rise = np.array(risen) / risen[-1] * 10 ** random.uniform(0.3, 1.5) * start
    if share == 0.0:
        return start + rise
    return start + rise + leak_log(0.0, times, share * rise[-1] / times[-1])


def pools_log(random, start, times):
    """Pressure [Pa] of gas out of two pools of oil, the deeper of which feeds the other."""
    quick = random.uniform(60.0, 400.0)
    slow = quick * random.uniform(4.0, 20.0)
    deep = random.uniform(0.5, 3.0)  # against the upper pool
    takes = random.uniform(0.3, 3.0)  # the gas, against the upper pool

    def f(_, y):
        out, up = (y[1] - y[0]) / quick, (y[2] - y[1]) / slow
        return [out / takes, up - out, -up / deep]

    solved = solve_ivp(f, (0.0, times[-1]), [0.0, 1.0, 1.0], t_eval=times, rtol=1e-8, atol=1e-10)
    return start + solved.y[0] / solved.y[0][-1] * 10 ** random.uniform(0.3, 1.5) * start


def tail_log(random, cause, start, times, air):
    """Pressure [Pa] of what gives off slowly; like the plateau of oil_log it does not end where water would."""
    while True:
        p = any_tail(random, cause, start, times)
        if abs(math.log(p[-1] / ashrae(air))) > 0.7 and abs(math.log(p[-1] / 611.0)) > 0.35:
            return p


def any_tail(random, cause, start, times):
    if cause == "two_pools":
        return pools_log(random, start, times)
    if cause == "quick":
        return start * (1.0 + random.uniform(0.5, 2.0) * (1.0 - np.exp(-times / random.uniform(60.0, 200.0))))
    return sheet_log(random, start, times, random.uniform(0.4, 2.0) if cause == "diffusion_and_leak" else 0.0)


def read(random, p, scale):
    noisy = p * scale * (1.0 + NOISE * random.standard_normal(p.size)) + FLOOR * random.standard_normal(p.size)
    return np.maximum(np.round(noisy / MICRON), 0.0) * MICRON


def simulate(seed, cause=None):
    """One log of a cause, or of one drawn at random."""
    random = np.random.default_rng(seed)
    cause = cause or CAUSES[int(random.integers(len(CAUSES)))]
    air = random.uniform(283.0, 311.0)
    volume = 10 ** random.uniform(-3.0, -2.1)  # 1 to 8 L
    every = float(random.choice([30.0, 60.0]))
    times = np.arange(0.0, random.uniform(1800.0, 3600.0), every)
    start = random.uniform(100.0, 600.0) * MICRON
    p = None
    while p is None:
        rate = 0.0
        if cause == "tight":
            p = np.full(times.size, start)
        elif cause == "settling":
            step, tau = start * random.uniform(0.15, 1.0), random.uniform(8.0, 45.0)
            p = start + step * (1.0 - np.exp(-times / tau))
        elif cause == "leak":
            rate = 10 ** random.uniform(1.0, 3.5) * MICRON / 60.0
            p = leak_log(start, times, rate)
        elif cause == "wet":
            p = water_log(random, volume, air, times, 0.0)
        elif cause == "outgassing":
            p = oil_log(random, start, times, air, 0.0)
        elif cause == "wet_and_leak":
            rate = random.uniform(0.4, 2.0) * ashrae(air) / times[-1]
            p = water_log(random, volume, air, times, rate)
        elif cause in TAILS:
            p = tail_log(random, cause, start, times, air)
        else:
            p = oil_log(random, start, times, air, random.uniform(0.4, 2.0))
    scale = 1.0 + 0.04 * random.standard_normal()
    return Log(cause, times, read(random, p, scale), air + random.standard_normal(), volume, f"seed {seed}")


def as_text(log, how=""):
    """The log as a file: in microns, cut off after five minutes (short), or off a dial (dial)."""
    t, p = log.t, log.p
    if how == "short":
        t, p = t[t <= 300.0], p[t <= 300.0]
    if how == "dial":
        half = 0.5 * 3386.388640341
        shown = np.round((AIR - p) / half) * half
        rows = [f"{a:.0f}, {b / 3386.388640341:.1f}" for a, b in zip(t, shown, strict=True)]
        return "time [s], pressure [inHg vac]\n" + "\n".join(rows)
    return "time [s], pressure [micron]\n" + "\n".join(
        f"{a:.0f}, {b / MICRON:.0f}" for a, b in zip(t, p, strict=True)
    )


def judged(log, how=""):
    """What the engine says about a log, with the built-in criteria."""
    from twogauge.packs import snapshot
    from twogauge.service.criteria import criteria_for
    from twogauge.service.hold import Told, judge
    from twogauge.service.holdlog import read_log

    (matters,) = criteria_for(snapshot.built_in(), "leak_that_matters")
    told = Told(AIR, coldest=log.coldest, volume=log.volume, smallest_rate=matters.rises / matters.within)
    return judge(read_log("<log>", as_text(log, how).encode()), told)
