"""The physics as algebra, one short file a topic; each function gives one Derivation, made once."""

FILES = ("letters", "bounds", "switching", "stress", "real_parts", "field", "energy", "sizing")
