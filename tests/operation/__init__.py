"""How the running agent is looked after: its log, its health, its metrics, its service manager."""
