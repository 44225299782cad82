"""What several test files share: the real command line in an empty folder, and one learner's numbers."""

import sys

import pytest
from classes import LAB


@pytest.fixture
def run(tmp_path, monkeypatch, capsys):
    """Runs the real command in an empty folder: exit status, stdout, stderr."""
    from boostkit import __main__ as command_line

    monkeypatch.chdir(tmp_path)

    def command(*words):
        monkeypatch.setattr(sys, "argv", ["boostkit", *map(str, words)])
        try:
            command_line.main()
            status = 0
        except SystemExit as end:
            status = end.code or 0
        return status, *capsys.readouterr()

    return command


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    """One learner's numbers in the small lab."""
    from boostkit.classroom.lab_file import read_lab
    from boostkit.classroom.variants import variant

    path = tmp_path_factory.mktemp("lab") / "lab.toml"
    path.write_text(LAB, encoding="utf-8")
    return variant(read_lab(path), "t01", 7)
