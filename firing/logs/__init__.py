"""Reading the files that data loggers and spreadsheets write."""
