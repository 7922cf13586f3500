"""Records that last: photos, readings, instruments and what people decided, in one folder with one SQLite file."""
