"""How long readings take, and whether making them quicker changed what they say."""
