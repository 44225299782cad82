"""A class: each learner's own numbers, copies, answer sheets and marks. Files in reading order."""

FILES = ("roster", "quantities", "ratings", "lab", "lab_file", "numbers", "tasks", "variants",
         "stated", "sheets", "copies", "on_paper", "labsheet", "marking", "handed_in", "outcome", "session", "server")  # fmt: skip
