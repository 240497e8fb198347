"""The marking page: a print is looked at, marked and built in a browser on the same computer."""
