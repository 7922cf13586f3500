"""Training code: data from the sample renderer, networks in PyTorch (an extra), scores on seeds kept apart."""
