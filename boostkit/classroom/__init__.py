"""A class: each learner's own numbers, copies, answer sheets and marks. Files in reading order."""

FILES = ("roster", "quantities", "lab", "lab_file", "numbers", "tasks", "variants",
         "stated", "sheets", "copies", "on_paper", "marking", "handed_in", "outcome", "session")  # fmt: skip
