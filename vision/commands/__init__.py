"""What each command of the command line does, one module a command."""
