"""The local web page: the same design, builds and files as on the command line."""
