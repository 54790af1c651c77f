"""The only place that talks to people: the command line and the screens."""
