"""Tables of readings: Arrow columns in, ranked faults out, for logs of one machine or of a whole fleet.

    column_map.py   which column is which field, in which unit
    scale.py        numbers of one unit to SI, a column at a time
    intake.py       a batch of rows to the core's columns; what a single reading would refuse is refused here too
    answer.py       what the core found, as Arrow columns
    table.py        `diagnose_table`, the whole way for one table or batch

Everything in this folder needs the extra `fleet`, and nothing outside it does.
"""
