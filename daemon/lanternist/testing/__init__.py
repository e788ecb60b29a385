"""Shipped fakes and contract checks, for our tests and for those of other people's outputs and inputs."""
