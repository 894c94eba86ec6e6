"""The raw log: everything the link brought, byte for byte, and the host's own frames between. Knows frames, not their meaning."""
