"""The agent's own messages: models of every body, the bodies themselves, and their schemas."""
