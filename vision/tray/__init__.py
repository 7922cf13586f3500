"""A whole tray: what lies where, what belongs together, what a list asks for."""
