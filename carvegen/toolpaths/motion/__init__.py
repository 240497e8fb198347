"""How a machine moves along its paths, and how long that takes."""
