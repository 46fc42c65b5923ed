"""What is answered at which path; each room of the page in a file of its own."""
