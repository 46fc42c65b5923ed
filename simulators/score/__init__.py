"""Sets what an agent published against the truth, and against a filter that is told a great deal.

The agent is run as a program of its own on a recording; nothing of its code is imported.
"""
