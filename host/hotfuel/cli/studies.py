"""Commands to come."""
