"""The print file: read, checked, explained."""
