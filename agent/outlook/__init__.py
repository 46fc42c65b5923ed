"""What is to be expected of sumps: gathered from the store or typed, and shown."""
