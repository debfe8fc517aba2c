"""Plans for a table of plots: its columns, the plan of one row, and the files and workers for any number of rows."""
