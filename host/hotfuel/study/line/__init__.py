"""Heat along the fuel line: the hose, what it carries, coolers, and what a change would do."""
