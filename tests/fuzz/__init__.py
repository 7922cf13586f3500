"""Made-up bytes for everything that reads a file from outside: a short run in the suite, long ones by command."""
