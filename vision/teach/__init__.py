"""Teaching: cards and a quiz on rendered, invented instruments, every answer with its source."""
