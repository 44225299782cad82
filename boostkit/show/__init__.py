"""Results in, pictures out. In reading order: `style`, `schematics`, `traces`, `figures`, `panels`."""
