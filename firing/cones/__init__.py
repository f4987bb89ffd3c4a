"""Pyrometric cones and heat-work: the published table, the law fitted to it, and what follows."""
