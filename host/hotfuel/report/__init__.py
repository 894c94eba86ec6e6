"""Pages and sheets for people: they show what the rooms below have worked out, and work out nothing themselves."""
