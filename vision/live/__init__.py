"""One frame of a live camera -> what is right and wrong with it, when to take the photo, and what the reading needs next."""
