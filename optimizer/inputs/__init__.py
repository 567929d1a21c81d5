"""Readers of the catalog folder and of the problem file; every error of a file at once."""
