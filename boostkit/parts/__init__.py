"""Real parts: what can be bought or wound, what it loses and how warm it gets. Files in reading order."""

FILES = ("kinds", "wire", "core_materials", "cores", "magnetising", "windings", "inductor_demand", "built", "inductor_build",
         "capacitor_types", "capacitor_choice", "snubber", "tables", "point", "losses", "settling", "warming", "battery")
