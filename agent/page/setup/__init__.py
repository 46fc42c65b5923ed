"""Changing the plant file by forms: what stands in it, what arrives at the broker, what is written.

The file stays the person's own: comments, order and spacing are kept, nothing is written that the
agent could not use, and the file as it was before lies beside it.
"""
