"""The command line: `app.py` finds the command, each command has its file, `common.py` holds shared options."""

from __future__ import annotations

import gc

# A command makes many objects that live to its end; looking through them for garbage costs a tenth of its time.
gc.set_threshold(100_000, 50, 100)
