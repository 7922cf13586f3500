"""The desk: a local page for people who do not type commands. It measures nothing and keeps nothing itself."""
