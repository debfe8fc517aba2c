"""The README shows real output."""

from tests.whole.readme_session import README, with_sessions


def test_the_sessions_in_the_readme_are_the_present_output():
    text = README.read_text(encoding="utf-8")
    assert text == with_sessions(text), "run: python -m tests.whole.readme_session"
