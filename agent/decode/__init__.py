"""Payloads to samples, reports and refusals."""
