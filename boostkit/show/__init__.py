"""Results in, pictures out. Each file is imported by its name, since a table of numbers needs no pictures."""

FILES = ("lettering", "style", "labels", "screen", "schematics", "traces", "figures", "curves", "sheet", "live", "panels", "stepping",
         "break_it", "courses", "shapes", "scenes", "stills", "coil_panels", "water_panels", "light_panels",
         "ripple_panels", "player")
