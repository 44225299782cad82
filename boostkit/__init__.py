"""boostkit: the boost converter, derived, computed, drawn and printed."""

__version__ = "0.1.0"
