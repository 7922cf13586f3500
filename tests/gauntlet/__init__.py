"""Wrong photos, each beside its harmless twin: slow, run by command, a short part in the suite."""
