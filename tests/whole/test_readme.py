"""The README shows real output."""

import doctest

from tests.whole.readme_session import README, with_sessions


def test_the_python_of_the_readme_gives_what_stands_there():
    failed, tried = doctest.testfile(str(README), module_relative=False, encoding="utf-8")
    assert tried > 3
    assert not failed


def test_the_sessions_in_the_readme_are_the_present_output():
    text = README.read_text(encoding="utf-8")
    assert text == with_sessions(text), "run: python -m tests.whole.readme_session"
