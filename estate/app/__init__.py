"""The entry points: the command line and the local web page. May import everything."""
