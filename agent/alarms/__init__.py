"""Alarms in the running agent: of the plant and of supplies, the journal, and who is notified."""
