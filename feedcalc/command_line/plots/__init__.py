"""A table of many plots: one row to its plan, and the files and workers for any number of rows."""
