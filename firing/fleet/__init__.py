"""Many logs: each reviewed to one row of a table, and the table summed up."""
