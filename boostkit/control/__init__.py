"""Holding the output steady: compensators, margins, real component values. Files in reading order."""

FILES = ("margins", "compensator", "networks", "corners", "placement", "sampled", "inner")
