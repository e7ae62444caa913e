"""The local browser page: one more skin over the calls of the command line."""
