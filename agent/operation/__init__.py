"""How the running agent is doing: for its service manager, for a monitor, for a collector."""
