"""Results in, pictures out. Each file is imported by its name, since a table of numbers needs no pictures."""

FILES = ("lettering", "reuse", "style", "labels", "screen", "slate", "schematics", "feedback", "traces", "figures", "curves",
         "sheet", "live", "panels", "stepping", "break_it", "courses", "shapes", "scenes", "stills", "player", "water_panels",
         "coil_panels", "light_panels", "ripple_panels", "design_panels", "sweep_panels", "loss_panels", "winding_panels",
         "average_panels", "regulator_panels", "wrong_knob_panels", "startup_panels", "class_panels", "bench_panels",
         "match_panels", "verdict_panels")  # fmt: skip
