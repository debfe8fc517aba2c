"""The command line. The page carries the rest of the package, and nothing of this folder."""
