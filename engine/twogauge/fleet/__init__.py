"""Tables of readings: Arrow columns in, ranked faults out, for logs of one machine or of a whole fleet.

    column_map.py   which column is which field, in which unit
    scale.py        numbers of one unit to SI, a column at a time
    intake.py       a batch of rows to the core's columns; what a single reading would refuse is refused here too
    answer.py       what the core found, as Arrow columns
    table.py        `diagnose_table`, the whole way for one table or batch
    bytes_in.py     the bytes of an input, unpacked; what they look like
    text_files.py   files of lines, cut into blocks        text_rows.py   blocks to rows
    stretches.py    what files of every kind have in common
    sources.py      opens them; files of lines              columnar.py    Parquet and Arrow
    understanding.py  what the columns of each file mean, and whether the files agree
    writers.py      answers to files
    placing.py      files that appear whole or not at all
    pieces.py       what an ended run left finished         progress.py    how far it is
    workers.py      processes that answer pieces side by side
    job.py          a whole run, for `twogauge batch`
    window_rules.py  what is steady enough, as data         windows.py    logs to windows worth a diagnosis
    stamps.py, log_rows.py, sums.py, steady.py, cycles.py   its steps, for one machine
    history.py      windows and answers to days, calls, drifts and trends (trend.py)
    run.py          a whole run, for `twogauge fleet`

Everything in this folder needs the extra `fleet`, and nothing outside it does.
"""

from __future__ import annotations

from importlib.util import find_spec

from twogauge.errors import MissingExtraError

if find_spec("pyarrow") is None:
    raise MissingExtraError("fleet", "tables of readings need Arrow")
