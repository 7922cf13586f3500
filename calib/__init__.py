"""The printed scale sheet: its geometry, its pages and the check of a print with a ruler."""
