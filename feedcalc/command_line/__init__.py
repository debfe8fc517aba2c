"""The command line: everything here, and only this, is left out of the page."""
