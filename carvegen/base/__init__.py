"""What every room stands on: errors, units, values with limits, findings, files, random streams."""
