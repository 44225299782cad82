"""The bench: what an instrument recorded, what it says, and how far it agrees with the prediction. Files in reading order."""

FILES = ("uncertain", "instrument", "layout", "capture", "meters", "grid", "knots", "bends", "edges", "course", "conduction", "ringing",
         "steadiness", "features", "prediction", "points", "unknowns", "strays", "descent", "rough", "solve", "together", "fit", "deciding",
         "compare", "efficiency", "example", "stand_in")
