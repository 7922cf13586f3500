"""Accuracy studies: slow, run by command, never part of the suite."""
