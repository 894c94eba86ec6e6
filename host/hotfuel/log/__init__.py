"""The raw log: the link's bytes unchanged, with the host's own frames between them. Knows frames, not their meaning."""
