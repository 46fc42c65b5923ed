"""The commands of the command line, one a module; each imports its work when it runs."""
