"""Flutegauge's measuring code: photo → scale → find → axis → edges → dimensions → identity → condition → report."""
