"""A month of a plant or of one sump, added up from what the store has kept: to print or to file.

Nothing is estimated here that was not told: totals are differences of the accounts that were told,
and where nothing was told, that is said.
"""
