"""The table of published checks covers every module and is fresh in the contributors' guide."""

from pathlib import Path

import pytest

from tests import published_table
from tests.published_table import BEGIN, END, DocstringError, all_checks, as_table, main, read_check

GOOD = '"""What is checked.\n\nSource: A. Author; Title; 1999;\n    section 3\nStatus: read\n"""\n'


def test_every_published_check_states_what_it_checks_its_source_and_its_status():
    assert len(all_checks()) >= 10


def test_the_table_has_a_row_for_every_module_of_published_checks():
    table = as_table(all_checks())
    modules = sorted(
        path.name for path in published_table.PUBLISHED.glob("*.py") if path.name != "__init__.py"
    )
    assert [line.split("`")[-2] for line in table.splitlines()[2:]] == [
        f"tests/published/{module}" for module in modules
    ]


def test_the_contributors_guide_has_the_table_as_generated(capsys):
    assert main(["--check"]) == 0, capsys.readouterr().err


def test_an_indented_line_goes_on_with_the_field_above_it():
    check = read_check("test_x.py", GOOD)
    assert (check.checks, check.source, check.status) == (
        "What is checked.",
        "A. Author; Title; 1999; section 3",
        "read",
    )


def test_a_year_may_be_said_to_be_unknown():
    assert "unknown" in read_check("test_x.py", GOOD.replace("1999", "year unknown")).source


@pytest.mark.parametrize(
    "status",
    ["secondary copy", "from memory", "common practice", "read (inputs), computed with pgmpy (outputs)"],
)
def test_the_known_statuses_may_be_joined_and_remarked_on(status):
    assert read_check("test_x.py", GOOD.replace("Status: read", f"Status: {status}")).status == status


@pytest.mark.parametrize(
    ("code", "message"),
    [
        ("x = 1\n", "first line must say what is checked"),
        ('"""What is checked.\n\nStatus: read\n"""\n', "needs a line `Source"),
        ('"""What is checked.\n\nSource: A. Author\n"""\n', "needs a line `Status"),
        (GOOD.replace("1999", "3rd ed., https://example.org/1999"), "gives no year"),
        (GOOD.replace("Status: read", "Status: surely right"), '"surely right" is not a status'),
        (GOOD.replace("Status: read", "Status: read\nSource: B. Author"), "Source is given twice"),
    ],
)
def test_a_docstring_that_lacks_something_is_refused_and_named(code, message):
    with pytest.raises(DocstringError, match="test_x.py: .*" + message):
        read_check("test_x.py", code)


def test_all_faulty_docstrings_are_reported_together(tmp_path: Path):
    (tmp_path / "test_a.py").write_text("x = 1\n")
    (tmp_path / "test_b.py").write_text("x = 1\n")
    with pytest.raises(DocstringError, match=r"test_a\.py.*\n.*test_b\.py"):
        all_checks(tmp_path)


def test_check_finds_a_stale_guide_and_a_rewrite_fixes_it(tmp_path: Path):
    (tmp_path / "test_a.py").write_text(GOOD)
    guide = tmp_path / "guide.md"
    guide.write_text(f"before\n{BEGIN}\nold\n{END}\nafter\n")
    assert main(["--check"], guide, tmp_path) == 1
    assert "old" in guide.read_text()
    assert main([], guide, tmp_path) == 0
    text = guide.read_text()
    assert (
        text.startswith("before\n") and text.endswith("\nafter\n") and "`tests/published/test_a.py`" in text
    )
    assert main(["--check"], guide, tmp_path) == 0


def test_a_guide_without_markers_or_a_wrong_argument_is_refused(tmp_path: Path, capsys):
    (tmp_path / "guide.md").write_text("no markers\n")
    assert main([], tmp_path / "guide.md", tmp_path) == 2
    assert BEGIN in capsys.readouterr().err
    assert main(["--chekc"]) == 2
