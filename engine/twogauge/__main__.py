"""`python -m twogauge`: the same as the `twogauge` command."""

from __future__ import annotations

from twogauge.cli.app import main

if __name__ == "__main__":
    main()
