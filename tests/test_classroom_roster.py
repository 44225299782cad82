"""The roster: what it reads, what it refuses, and what of it may leave the teacher's folder."""

import pytest

from boostkit.classroom.roster import read_roster


def roster(tmp_path, text, encoding="utf-8"):
    """A roster file with this text, read."""
    path = tmp_path / "class.csv"
    path.write_bytes(text.encode(encoding))
    return read_roster(path)


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_any_of_three_marks_parts_the_cells(tmp_path, mark):
    """Commas, semicolons and tabs make the same roster, spaces around the cells or not."""
    rows = [["key", "name", "group"], ["t01", "Ida Berg", "A"], ["t02", "Bo Lind", ""]]
    found = roster(tmp_path, "\n".join(f" {mark} ".join(row) for row in rows))
    assert found.keys == ("t01", "t02")
    assert [(each.name, each.group) for each in found] == [("Ida Berg", "A"), ("Bo Lind", "")]


def test_only_the_key_is_needed_and_other_columns_are_left_unread(tmp_path):
    """A school's own export, columns in its order, with a byte order mark, capitals, remarks and an e-mail column."""
    found = roster(tmp_path, "# class of spring\nE-mail;Key;Name\na@b.example;7;Å\n\n;8\n", "utf-8-sig")
    assert found.keys == ("7", "8") and "example" not in repr(found)


@pytest.mark.parametrize(("text", "said"), [
    ("", "is empty"),
    ("# nothing\n", "has no header"),
    ("name,group\nA,B\n", "must name a column key"),
    ("key,name,key\n1,A,2\n", "column key stands twice"),
    ("key\n", "no learner"),
    ("key,name\n,Ida\n", "row 2: key is missing"),
    ("key\n../up\n", "row 2: key ="),
    ("key\na/b\n", "names files"),
    ("key\n=1+1\n", "names files"),
    ("key\n" + "k" * 33 + "\n", "names files"),
    ("key\nÅsa\n", "names files"),
    ("key\nCON\n", "keep for themselves"),
    ("key\nt01\nT01\n", "row 3: key = \"T01\" stands in row 2 already"),
    ("key,name\nida-berg,Ida Berg\n", "is the learner's name"),
    ("key,name\nt1,\"Ida\n", "is no row of a CSV table"),
    ("key,name\nt1," + "x" * 201 + "\n", "at most 200 characters"),
])  # fmt: skip
def test_a_bad_roster_is_refused_with_its_row(tmp_path, text, said):
    """One line that names the file, where it can the row, and the rule."""
    with pytest.raises(ValueError, match=r"^class\.csv: ") as refused:
        roster(tmp_path, text)
    assert said in str(refused.value) and "\n" not in str(refused.value)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    """A spreadsheet saved as it is, not as CSV."""
    path = tmp_path / "class.csv"
    path.write_bytes(b"PK\x03\x04\xff\xfe\x00")
    with pytest.raises(ValueError, match="not UTF-8"):
        read_roster(path)
