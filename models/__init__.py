"""Learned models: small ONNX networks, their registry with hashes, and (in ``models.train``) how they were made."""
