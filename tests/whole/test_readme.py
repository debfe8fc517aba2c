"""The README shows what the tool really says."""

from tests.whole.readme_session import README, with_sessions


def test_the_sessions_in_the_readme_are_what_the_tool_prints_today():
    text = README.read_text(encoding="utf-8")
    assert text == with_sessions(text), "run: python -m tests.whole.readme_session"
