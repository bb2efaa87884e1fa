"""How long a pack of ten thousand rules is checked and used; run by hand: `python tests/benchmarks/many_rules.py`.

Not a test: machines differ and are shared. The pack is generated: sound rules over all quantities and topics of the
built-in packs; with `wrong` every rule has a mistake, with `alike` all rules look at one quantity in one topic. The
targets in brackets are the project's own; seconds are those of the processor.
"""

from __future__ import annotations

import gc
import statistics
import sys
import tempfile
import time
from pathlib import Path
from random import Random

import twogauge
from twogauge.packs.check import check_packs
from twogauge.packs.compile import compile_stack
from twogauge.packs.stack import built_in, stack_on_built_in
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES

_UNIT = {Dimension.TEMPERATURE: "degC", Dimension.TEMPERATURE_DIFFERENCE: "K"}
_RULE = """\
  made_{i}:
    topic: {topic}
    title: Made by a program, number {i}
    when:
      {when}
    says: {{{says}}}
    because: It is {{{name}}}.
    source: {{weights: common practice, numbers: common practice}}
    examples: {{holds: [{{low_side: low}}], does_not_hold: [{{low_side: high}}]}}
"""


def write_pack(folder: Path, rules: int = 10_000, kind: str = "sound", files: int = 10) -> None:
    """Write a pack of generated rules."""
    random = Random(1)  # noqa: S311 - the same pack every time
    names = [q.name for q in QUANTITIES.values() if q.dimension in _UNIT and not q.words]
    faults, topics = sorted(built_in().faults), [f"made_topic_{i}" for i in range(200)]
    for file in range(files):
        lines = ["pack: made\n"] if file == 0 else []
        lines.append("rules:\n")
        for i in range(file, rules, files):
            name = "condensing_over_ambient" if kind == "alike" else random.choice(names)
            value = random.uniform(1.0, 40.0)
            chosen = random.sample(faults, 4)
            if kind == "wrong":
                chosen[0] += "x"
            when = f"{name}: {{above: {value:.3f} {_UNIT[QUANTITIES[name].dimension]}, soft: 1 K}}"
            says = ", ".join(f"{fault}: {random.randint(1, 9)} dB" for fault in chosen)
            topic = "made_topic" if kind == "alike" else random.choice(topics)
            lines.append(_RULE.format(i=i, topic=topic, when=when, says=says, name=name))
        (folder / f"rules_{file}.yaml").write_text("".join(lines), "utf-8")


def measure(kind: str, rules: int = 10_000) -> None:
    """Print how long the check takes, and a diagnosis if the pack can be used."""
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top)
        write_pack(folder, rules, kind)
        start = time.process_time()
        report = check_packs([folder])
        took = time.process_time() - start
        print(f"{kind}: check of {report.rules} rules: {took:.1f} s, {len(report.problems)} problems  [< 10 s]")
        if report.count("error"):
            return
        start = time.process_time()
        program = compile_stack(stack_on_built_in([folder]))
        print(f"  read and compiled in {time.process_time() - start:.1f} s")
    readings = [
        twogauge.Reading(
            refrigerant="R134a", low_side=f"{30 + i} psi", high_side="210 psi", ambient="90F", system="bus_ac"
        )
        for i in range(12)
    ]
    twogauge.diagnose(readings[0])  # curves are read and modules imported by any first diagnosis
    gc.collect()  # else Python looks through all that was read while the first is timed, which takes a second
    times = []
    for reading in readings:
        start = time.process_time()
        twogauge.diagnose(reading, program=program)
        times.append(time.process_time() - start)
    print(f"  first diagnosis {times[0] * 1e3:.0f} ms, then {statistics.median(times[1:]) * 1e3:.0f} ms  [< 100 ms]")


if __name__ == "__main__":
    for each in sys.argv[1:] or ["sound", "alike", "wrong"]:
        measure(each)
