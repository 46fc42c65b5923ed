"""What instruments make of the truth. Each has noise of its own and sees only the true sump."""
