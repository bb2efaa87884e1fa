"""Two gauges, one thermometer: saturation tables and ranked faults with reasons."""
