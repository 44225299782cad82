"""Results in, pictures out. Each file is imported by its name, since a table of numbers needs no pictures."""

FILES = ("style", "labels", "screen", "schematics", "traces", "figures", "sheet", "panels")
